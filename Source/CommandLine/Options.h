#pragma once

#include <string>
#include <vector>

#include <CLI/CLI.hpp>

namespace saddletone::commandline {

// What CLI11 takes to make a verb, and to read each type of value, is compiled once, in Options.cpp.
// Called directly it is compiled again for every verb: up to a third of the time that takes.

/** A verb, or a verb of a verb, owned by its parent. */
CLI::App* addVerb(CLI::App& parent, const std::string& name, const std::string& help);

/** An option, as CLI11's own add_option() adds it. value: must live as long as the verb; of a type
    that Options.cpp has. */
template <typename Value>
CLI::Option* addOption(CLI::App& verb, const std::string& name, Value& value,
                       const std::string& help);

/** An option without a value; value: whether it was given. */
CLI::Option* addFlag(CLI::App& verb, const std::string& name, bool& value, const std::string& help);

/** The value is one of these words. */
[[nodiscard]] CLI::Validator oneOf(std::vector<std::string> words);

} // namespace saddletone::commandline
