#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"
#include "CommandLine/Verbs.h"

#include "Core/Audition/OverdriveRender.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/HammersteinFit.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <optional>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

struct OverdriveOptions {
    std::vector<std::string> measured;
    std::vector<double> drivesDb;
    std::string name;
    std::string out;
    std::string table;
    std::string model;
    std::string programme;
    std::string render;
    std::string tuning;
    double volumeDb = 0.0;
    std::string clip = "none";
    double clipDbfs = 0.0;
    std::string clipSource = "assumed";
    double gainDb = 0.0;
    std::size_t block = 512;
    std::string bits = "32f";
};

/** One of the names for a kind of clipping; the option allows no others. */
audition::AmplifierClip clipOf(const OverdriveOptions& options)
{
    using audition::AmplifierClip;
    AmplifierClip clip;
    clip.shape = options.clip == "hard"   ? AmplifierClip::Shape::hard
                 : options.clip == "soft" ? AmplifierClip::Shape::soft
                                          : AmplifierClip::Shape::none;
    clip.source = options.clipSource == "measured" ? AmplifierClip::Source::measured
                                                   : AmplifierClip::Source::assumed;
    clip.limitDbfs = options.clipDbfs;
    return clip;
}

dsp::Result<measure::HammersteinModel> fitModel(const OverdriveOptions& options)
{
    measure::HammersteinRequest request;
    request.name = options.name;
    request.drivesDb = options.drivesDb;
    for (const std::string& file : options.measured) {
        auto state = measure::loadResponse(file);
        if (!state)
            return state.unexpected();
        request.states.push_back(std::move(*state));
        if (request.states.back().name.empty())
            request.states.back().name = file;
    }
    showProgress("fitting");
    return measure::fitHammerstein(request);
}

/** Harmonics 1 to 5 of the model at every drive, over frequency; empty cells are not possible in
    a table of numbers, so an order that is left out reads -400. */
dsp::Result<void> writeTable(const measure::HammersteinModel& model, const std::string& file)
{
    std::vector<std::string> header {"frequency_hz"};
    std::vector<std::vector<double>> columns(1);
    double fromHz = 1e9;
    double toHz = 0.0;
    for (const measure::OrderSupport& order : model.orders)
        for (const measure::FundamentalRange& range : order.ranges) {
            fromHz = std::min(fromHz, range.fromHz);
            toHz = std::max(toHz, range.toHz);
        }
    columns.front() = dsp::twelfthOctavesHz(fromHz, toHz);
    for (std::size_t take = 0; take < model.takes.size(); ++take) {
        const std::size_t first = columns.size();
        for (int order = 1; order <= measure::highestHarmonic; ++order) {
            header.push_back("take_" + std::to_string(take + 1) + "_harmonic_"
                             + std::to_string(order) + "_db");
            columns.emplace_back();
        }
        for (const double frequencyHz : columns.front()) {
            const auto harmonics = model.harmonics(frequencyHz, model.takes[take].driveDbfs);
            for (std::size_t order = 0; order < harmonics.size(); ++order)
                columns[first + order].push_back(dsp::amplitudeToDb(std::abs(harmonics[order])));
        }
    }
    return files::writeTextFile(file, files::csvText(header, columns));
}

void describe(const measure::HammersteinModel& model, Output& output)
{
    nlohmann::json takes = nlohmann::json::array();
    for (const measure::DrivenTake& take : model.takes) {
        output.text += "drive " + fixedText(take.driveDbfs, 1) + " dBFS ("
                       + (take.driveIsStated ? "stated" : "from the linear part's level")
                       + "): " + take.name + "\n";
        takes.push_back({{"name", take.name},
                         {"driveDbfs", take.driveDbfs},
                         {"driveIsStated", take.driveIsStated}});
    }
    nlohmann::json orders = nlohmann::json::array();
    for (const measure::OrderSupport& order : model.orders) {
        output.text += order.words + "\n";
        nlohmann::json ranges = nlohmann::json::array();
        for (const measure::FundamentalRange& range : order.ranges)
            ranges.push_back({{"fromHz", range.fromHz}, {"toHz", range.toHz}});
        orders.push_back({{"order", order.order},
                          {"ranges", std::move(ranges)},
                          {"largestErrorDb", order.largestErrorDb},
                          {"words", order.words}});
    }
    for (const std::string& remark : model.remarks)
        output.text += "note: " + remark + "\n";
    output.json["takes"] = std::move(takes);
    output.json["orders"] = std::move(orders);
    output.json["remarks"] = model.remarks;
    output.json["speaks"] = model.speaks();
    output.json["driveFilterSections"] = model.driveFilter.size();
}

std::optional<Failure> renderInto(const OverdriveOptions& options,
                                  const measure::HammersteinModel& model, Output& output)
{
    const auto format = files::parseSampleFormat(options.bits);
    if (!format)
        return usageFailure(format.error().message);
    audition::NonlinearRequest request;
    request.model = model;
    request.volumeDb = options.volumeDb;
    request.clip = clipOf(options);
    if (!options.tuning.empty()) {
        auto tuning = tuning::loadTuning(options.tuning);
        if (!tuning)
            return inputFailure(tuning.error());
        request.tuning = std::move(*tuning);
    }
    const auto programme = files::readAudioFile(options.programme);
    if (!programme)
        return inputFailure(programme.error());
    showProgress("rendering");
    auto rendering = audition::renderOverdrive(request, *programme, options.block);
    if (!rendering)
        return inputFailure(rendering.error());
    const auto gain = static_cast<float>(dsp::dbToAmplitude(options.gainDb));
    for (auto& channel : rendering->audio.channels)
        for (float& sample : channel)
            sample *= gain;
    if (const auto written = files::writeAudioFile(rendering->audio, options.render, *format);
        !written)
        return inputFailure(written.error());
    output.text += options.render + ": what overdrive adds stands "
                   + fixedText(rendering->branchDb, 1) + " dB re the linear sound\n";
    if (rendering->heldDb > 0.05)
        output.text += "The programme passes the highest measured drive by up to "
                       + fixedText(rendering->heldDb, 1)
                       + " dB; distortion is held in proportion there and may be more.\n";
    if (request.clip.shape != audition::AmplifierClip::Shape::none)
        output.text += "The amplifier clips (" + options.clip + ") at "
                       + fixedText(options.clipDbfs, 1) + " dBFS, " + options.clipSource + ".\n";
    output.json["render"] = {{"file", options.render},           {"branchDb", rendering->branchDb},
                             {"heldDb", rendering->heldDb},      {"clip", options.clip},
                             {"clipSource", options.clipSource}, {"clipDbfs", options.clipDbfs}};
    return std::nullopt;
}

Outcome runOverdrive(const OverdriveOptions& options)
{
    if (options.measured.empty() == options.model.empty())
        return usageFailure("overdrive: give either measurements (--measured, twice or more) or a "
                            "model made before (--model)");
    if (!options.measured.empty() && options.out.empty())
        return usageFailure("overdrive: --measured needs --out, the model to write");
    if (!options.model.empty() && !options.out.empty())
        return usageFailure("overdrive: --out is for a model made from --measured");
    if (options.programme.empty() != options.render.empty())
        return usageFailure("overdrive: --programme and --render belong together");
    if (!options.drivesDb.empty() && options.drivesDb.size() != options.measured.size())
        return usageFailure("overdrive: --drive-db is needed once for every --measured or not at "
                            "all");
    if (auto failure = checkEnding("--render", options.render, {".wav", ".flac"}))
        return *std::move(failure);
    auto inputs = filesOfStates(options.measured);
    if (!options.model.empty())
        inputs.insert(inputs.end(), {options.model, measure::kernelsPath(options.model).string()});
    inputs.insert(inputs.end(), {options.tuning, options.programme});
    std::vector<std::string> outputs {options.table, options.render};
    if (!options.out.empty())
        outputs.insert(outputs.end(), {options.out, measure::kernelsPath(options.out).string()});
    if (auto failure = checkOutputs(inputs, outputs))
        return *std::move(failure);

    const auto model =
        options.model.empty() ? fitModel(options) : measure::loadHammersteinModel(options.model);
    if (!model)
        return inputFailure(model.error());
    Output output;
    if (!options.out.empty()) {
        if (const auto saved = measure::saveHammersteinModel(*model, options.out); !saved)
            return inputFailure(saved.error());
        output.json["model"] = options.out;
        output.text += options.out + ": overdrive model from " + std::to_string(model->takes.size())
                       + " drive levels\n";
    }
    describe(*model, output);
    if (!options.table.empty())
        if (const auto written = writeTable(*model, options.table); !written)
            return inputFailure(written.error());
    if (!options.render.empty())
        if (auto failure = renderInto(options, *model, output))
            return *std::move(failure);
    return output;
}

} // namespace

void addOverdriveVerb(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<OverdriveOptions>();
    CLI::App* verb =
        addVerb(app, "overdrive",
                "Model how the speakers distort, from the same state at two drive levels or "
                "more, and render programme through it");
    addOption(*verb, "--measured", options->measured,
              "STATE.json at one drive level; the first one's volume is the model's");
    addOption(*verb, "--drive-db", options->drivesDb,
              "How hard each --measured drives the speaker, dB re each other; without it "
              "the level of the linear part tells, which takes the same recorder gain or a "
              "calibration")
        ->check(withinRange(-60.0, 60.0));
    addOption(*verb, "--name", options->name, "What the model is called");
    addOption(*verb, "--out", options->out, "Model to write (MODEL.json, MODEL.kernels.wav)");
    addOption(*verb, "--table", options->table,
              "Harmonics 1 to 5 of the model at every drive to write (CSV)");
    addOption(*verb, "--model", options->model, "MODEL.json made before, to render with");
    addOption(*verb, "--programme", options->programme, "Audio to render");
    addOption(*verb, "--render", options->render, "Audio file to write (WAV or FLAC)");
    addOption(*verb, "--tuning", options->tuning, "TUNING.json ahead of the speaker");
    addOption(*verb, "--volume-db", options->volumeDb,
              "Volume of the rendering re the model's, -60 to 40")
        ->check(withinRange(-60.0, 40.0))
        ->capture_default_str();
    auto* clip =
        addOption(*verb, "--clip", options->clip, "How the amplifier clips: none, hard or soft")
            ->check(oneOf({"none", "hard", "soft"}))
            ->capture_default_str();
    addOption(*verb, "--clip-dbfs", options->clipDbfs,
              "Level of a sine after the tuning whose peaks reach the amplifier's limit, "
              "-60 to 40")
        ->check(withinRange(-60.0, 40.0))
        ->needs(clip)
        ->capture_default_str();
    addOption(*verb, "--clip-source", options->clipSource,
              "Where that level comes from: assumed or measured")
        ->check(oneOf({"assumed", "measured"}))
        ->needs(clip)
        ->capture_default_str();
    addOption(*verb, "--gain", options->gainDb, "Gain of the rendering in dB, -60 to 60")
        ->check(withinRange(-60.0, 60.0))
        ->capture_default_str();
    addOption(*verb, "--block", options->block,
              "Frames a block, 1 to 65536; the result does not depend on it")
        ->check(CLI::Range(std::size_t {1}, std::size_t {65536}))
        ->capture_default_str();
    addOption(*verb, "--bits", options->bits, "16, 24 or 32f")->capture_default_str();
    verb->callback(
        [options, &shared] { shared.action = [options] { return runOverdrive(*options); }; });
}

} // namespace saddletone::commandline
