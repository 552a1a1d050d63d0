#include "CommandLine/FileArguments.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Response.h"

#include <algorithm>
#include <cstddef>
#include <filesystem>
#include <system_error>

namespace saddletone::commandline {

namespace {

/** The place a name stands for; of a name that cannot be followed, the name. */
std::filesystem::path placeOf(const std::string& file)
{
    std::error_code reason;
    auto place = std::filesystem::weakly_canonical(std::filesystem::absolute(file, reason), reason);
    return reason ? std::filesystem::path(file) : place;
}

/** A number for a sentence: whole where it is whole. */
std::string numberText(double value)
{
    std::string text = files::fixedText(value, 3);
    text.erase(text.find_last_not_of('0') + 1);
    if (text.ends_with('.'))
        text.pop_back();
    return text;
}

} // namespace

std::optional<Failure> checkOutputs(const std::vector<std::string>& inputs,
                                    const std::vector<std::string>& outputs)
{
    std::vector<std::filesystem::path> taken;
    for (const std::string& input : inputs)
        if (!input.empty())
            taken.push_back(placeOf(input));
    const std::size_t numInputs = taken.size();
    for (const std::string& output : outputs) {
        if (output.empty())
            continue;
        const auto place = placeOf(output);
        const auto same = std::ranges::find(taken, place);
        if (same != taken.end())
            return usageFailure("'" + output
                                + (same - taken.begin() < static_cast<std::ptrdiff_t>(numInputs)
                                       ? "' is read and would be overwritten; give another name to "
                                         "write to"
                                       : "' would be written twice; give each output a name of its "
                                         "own"));
        taken.push_back(place);
        // A folder that is missing is made later; that it cannot be is said then.
        std::error_code reason;
        if (!std::filesystem::exists(place.parent_path(), reason))
            continue;
        if (const auto probe = files::AtomicFile::open(output); !probe)
            return inputFailure(probe.error());
    }
    return std::nullopt;
}

std::vector<std::string> filesOfStates(const std::vector<std::string>& states)
{
    std::vector<std::string> files;
    for (const std::string& state : states)
        if (!state.empty())
            files.insert(files.end(), {state, measure::impulsePath(state).string(),
                                       measure::harmonicsPath(state).string()});
    return files;
}

std::optional<Failure> checkEnding(std::string_view option, const std::string& file,
                                   std::initializer_list<std::string_view> endings)
{
    const std::string ending = std::filesystem::path(file).extension().string();
    if (file.empty() || std::ranges::find(endings, ending) != endings.end())
        return std::nullopt;
    std::string words;
    for (const std::string_view known : endings)
        words += (words.empty() ? "" : " or ") + std::string(known);
    return usageFailure(std::string(option) + " '" + file + "' has to end in " + words
                        + ", which decides what is written");
}

CLI::Validator withinRange(double lowest, double highest)
{
    const std::string range = numberText(lowest) + " to " + numberText(highest);
    return CLI::Validator(
        [=](std::string& text) {
            double value = 0.0;
            const bool isInside =
                CLI::detail::lexical_cast(text, value) && value >= lowest && value <= highest;
            return isInside ? std::string() : "'" + text + "' is no number from " + range;
        },
        range);
}

} // namespace saddletone::commandline
