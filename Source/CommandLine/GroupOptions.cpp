#include "CommandLine/GroupOptions.h"

#include "CommandLine/Options.h"

#include "Core/Files/TextTable.h"

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

std::vector<std::string> GroupOptions::files() const
{
    std::vector<std::string> files;
    for (const std::string& state : states)
        files.insert(files.end(), {state, measure::impulsePath(state).string()});
    return files;
}

void addGroupOptions(CLI::App& verb, const std::string& firstState, GroupOptions& options)
{
    auto* states = addOption(
        verb, "--group", options.states,
        "STATE.json of another speaker group that is heard together with " + firstState
            + ", measured by itself in the same recording (measure --speakers --track-start); may "
              "be given several times");
    addFlag(verb, "--group-power", options.inPower,
            "Add the groups in power where nobody knows when each of them arrives: an "
            "estimate, without what they do to each other")
        ->needs(states);
}

dsp::Result<std::shared_ptr<const measure::GroupedStates>>
loadGroups(const measure::Response& first, const GroupOptions& options)
{
    if (options.states.empty())
        return std::shared_ptr<const measure::GroupedStates> {};
    std::vector<measure::Response> states {first};
    for (const std::string& file : options.states) {
        auto state = measure::loadResponse(file);
        if (!state)
            return state.unexpected();
        states.push_back(*std::move(state));
    }
    return measure::groupStates(std::move(states), options.inPower ? measure::GroupSum::power
                                                                   : measure::GroupSum::timed);
}

void describeGroups(const measure::GroupedStates* groups, Output& output)
{
    if (groups == nullptr)
        return;
    const bool isTimed = groups->sum == measure::GroupSum::timed;
    output.text += "put together from " + groups->words()
                   + (isTimed ? ", by when each arrives in their recording:\n"
                              : ", added in power: an estimate, as nobody knows when each of them "
                                "arrives; how they cancel or strengthen each other is not in it\n");
    nlohmann::json list = nlohmann::json::array();
    for (std::size_t index = 0; index < groups->states.size(); ++index) {
        const measure::Response& state = groups->states[index];
        const double laterMs = 1000.0 * groups->laterSeconds[index];
        if (isTimed)
            output.text += "  " + measure::speakerGroupWords(state.state.speakers) + " ("
                           + state.name + ") " + files::fixedText(laterMs, 2)
                           + " ms after the first\n";
        list.push_back({{"speakers", measure::speakerGroupName(state.state.speakers)},
                        {"state", state.name},
                        {"laterMs", isTimed ? nlohmann::json(laterMs) : nlohmann::json()}});
    }
    output.json["groups"] = {{"sum", measure::groupSumName(groups->sum)},
                             {"isEstimate", !isTimed},
                             {"states", std::move(list)}};
}

} // namespace saddletone::commandline
