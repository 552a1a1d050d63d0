#include "Plugin/MicrophoneChoice.h"

#include "Plugin/Paths.h"

#include <memory>

namespace saddletone::plugin {

namespace {

juce::String nameOf(const std::filesystem::path& file)
{
    return file.empty() ? juce::String() : toFile(file).getFileName();
}

juce::String degrees(measure::Incidence incidence)
{
    const std::string_view name = measure::incidenceName(incidence);
    return juce::String(name.data(), name.size());
}

} // namespace

LoadedMicrophone loadMicrophone(const MicrophoneChoice& choice)
{
    LoadedMicrophone loaded;
    loaded.choice = choice;
    gui::MicrophoneView& view = loaded.view;
    view.zeroDegreesFile = nameOf(choice.zeroDegreesFile);
    view.ninetyDegreesFile = nameOf(choice.ninetyDegreesFile);
    view.incidence = choice.incidence;

    // One by one, so that a table that is gone does not take the other with it.
    measure::MicrophoneCurves curves;
    if (auto front = measure::readMicrophoneCurves(choice.zeroDegreesFile, {}); front)
        curves.zeroDegrees = std::move(front->zeroDegrees);
    else
        loaded.problem = front.error().message;
    if (auto side = measure::readMicrophoneCurves({}, choice.ninetyDegreesFile); side)
        curves.ninetyDegrees = std::move(side->ninetyDegrees);
    else
        loaded.problem += (loaded.problem.empty() ? "" : " ") + side.error().message;
    view.isProblem = !loaded.problem.empty();

    const auto chosen = measure::chooseCurve(curves, choice.incidence);
    if (!chosen) {
        view.words =
            view.isProblem
                ? toText(loaded.problem) + " Until then takes are measured without a curve."
                : juce::String(
                    "No microphone curve: takes hold the microphone's own response too. With "
                    "a measuring microphone it shows mostly in the highest octaves.");
        if (view.isProblem)
            view.shortWords = "Microphone curve could not be read.";
        return loaded;
    }
    view.curves = std::make_shared<const measure::MicrophoneCurves>(std::move(curves));
    const bool isFront = chosen->incidence == measure::Incidence::zeroDegrees;
    const juce::String file = isFront ? view.zeroDegreesFile : view.ninetyDegreesFile;
    loaded.correction = MicrophoneCorrection {
        chosen->table,
        {"The microphone's curve for " + degrees(chosen->incidence).toStdString() + " degrees ("
         + file.toStdString() + ") was taken out."}};
    if (!chosen->remark.empty())
        loaded.correction->remarks.push_back(chosen->remark);
    view.shortWords = "Microphone curve: " + file + ", " + degrees(chosen->incidence)
                      + juce::String::fromUTF8("\xc2\xb0");
    view.words = file + " is taken out of every take.";
    if (!chosen->remark.empty())
        view.words << " " << toText(chosen->remark);
    if (view.isProblem)
        view.words << " " << toText(loaded.problem);
    return loaded;
}

} // namespace saddletone::plugin
