#pragma once

#include "CommandLine/Verbs.h"

#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <CLI/CLI.hpp>

namespace saddletone::commandline {

/** Looks at the files a verb is to write before it does its work. Wrong usage: an output that is
    also an input (a take would be lost) or a second output. Refused besides: a folder, a device, a
    place that cannot be written. Empty names are left out; other spellings of a place are known. */
[[nodiscard]] std::optional<Failure> checkOutputs(const std::vector<std::string>& inputs,
                                                  const std::vector<std::string>& outputs);

/** The files of states: each itself and the responses beside it; without empty names. */
[[nodiscard]] std::vector<std::string> filesOfStates(const std::vector<std::string>& states);

/** Wrong usage unless a file ends in one of the endings, which decide what is written. */
[[nodiscard]] std::optional<Failure> checkEnding(std::string_view option, const std::string& file,
                                                 std::initializer_list<std::string_view> endings);

/** CLI11's own range lets "nan" pass, as that is neither below nor above. */
[[nodiscard]] CLI::Validator withinRange(double lowest, double highest);

} // namespace saddletone::commandline
