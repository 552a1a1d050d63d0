#include "Core/Measure/HammersteinModel.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/InnerPath.h"
#include "Core/Files/JsonReader.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <nlohmann/json.hpp>

namespace saddletone::measure {

namespace {

constexpr int modelSchemaVersion = 1;
constexpr std::string_view modelKind = "saddletone-overdrive";
constexpr double longestKernelSeconds = 2.0;

/** Complex gain of a kernel, its arrival at time 0. */
std::complex<double> kernelResponse(const std::vector<float>& kernel, std::size_t arrivalFrame,
                                    double sampleRate, double frequencyHz)
{
    const double radians = 2.0 * std::numbers::pi * frequencyHz / sampleRate;
    std::complex<double> sum;
    for (std::size_t frame = 0; frame < kernel.size(); ++frame)
        sum +=
            std::polar(static_cast<double>(kernel[frame]),
                       -radians * (static_cast<double>(frame) - static_cast<double>(arrivalFrame)));
    return sum;
}

} // namespace

dsp::AnalogueSection DriveSection::analogue() const noexcept
{
    const double ratio = zeroHz / poleHz;
    return {.frequencyHz = poleHz,
            .b0 = ratio * ratio,
            .b1 = ratio / zeroQ,
            .b2 = 1.0,
            .a0 = 1.0,
            .a1 = 1.0 / poleQ,
            .a2 = 1.0};
}

double HammersteinModel::lowestDriveDbfs() const noexcept
{
    double lowest = 0.0;
    for (const DrivenTake& take : takes)
        lowest = std::min(lowest, take.driveDbfs);
    return lowest;
}

double HammersteinModel::highestDriveDbfs() const noexcept
{
    double highest = dsp::silenceDb;
    for (const DrivenTake& take : takes)
        highest = std::max(highest, take.driveDbfs);
    return highest;
}

bool HammersteinModel::speaks() const noexcept
{
    return std::ranges::any_of(orders,
                               [](const OrderSupport& order) { return !order.ranges.empty(); });
}

std::complex<double> HammersteinModel::driveResponse(double frequencyHz) const noexcept
{
    std::complex<double> gain = driveGainLinear;
    for (const DriveSection& section : driveFilter)
        gain *= section.analogue().response(frequencyHz);
    return gain;
}

std::array<std::complex<double>, highestHarmonic>
HammersteinModel::harmonics(double fundamentalHz, double driveDbfs) const
{
    const double amplitude = dsp::dbToAmplitude(driveDbfs);
    const std::complex<double> drive = driveResponse(fundamentalHz);
    std::array<std::complex<double>, highestHarmonic> result {};
    for (int order = 1; order <= highestHarmonic; ++order) {
        auto& harmonic = result[static_cast<std::size_t>(order - 1)];
        for (int power = order; power <= highestHarmonic; power += 2) {
            const auto kernel = kernelResponse(kernels[static_cast<std::size_t>(power - 1)],
                                               arrivalFrame, sampleRate, order * fundamentalHz);
            const auto driven =
                power == 1 ? std::complex<double>(1.0)
                           : std::polar(std::pow(std::abs(drive), power), order * std::arg(drive));
            harmonic +=
                harmonicOfPower(order, power) * std::pow(amplitude, power - 1) * driven * kernel;
        }
    }
    return result;
}

std::complex<double> harmonicOfPower(int order, int power) noexcept
{
    if (order < 1 || power < order || (power - order) % 2 != 0)
        return {};
    // sin^n = (2j)^-n (e^jt - e^-jt)^n; the binomial's term of e^jkt, as a multiple of sin kt, whose
    // own is 1 / (2j).
    double binomial = 1.0;
    const int steps = (power - order) / 2;
    for (int step = 1; step <= steps; ++step)
        binomial = binomial * (power - steps + step) / step;
    const std::complex<double> twoJ(0.0, 2.0);
    std::complex<double> share = steps % 2 == 0 ? binomial : -binomial;
    for (int factor = 1; factor < power; ++factor)
        share /= twoJ;
    return share;
}

std::filesystem::path kernelsPath(const std::filesystem::path& modelFile)
{
    auto file = modelFile;
    return file.replace_extension(".kernels.wav");
}

dsp::Result<void> saveHammersteinModel(const HammersteinModel& model,
                                       const std::filesystem::path& modelFile)
{
    // A model that cannot be written must not leave its kernels behind.
    if (const auto probe = files::AtomicFile::open(modelFile); !probe)
        return probe.unexpected();
    const auto kernelsFile = kernelsPath(modelFile);
    const dsp::AudioBuffer audio {model.sampleRate, {model.kernels.begin(), model.kernels.end()}};
    if (const auto written =
            files::writeAudioFile(audio, kernelsFile, files::SampleFormat::float32);
        !written)
        return written.unexpected();
    const auto checksum = files::fileChecksum(kernelsFile);
    if (!checksum)
        return checksum.unexpected();

    nlohmann::json sections = nlohmann::json::array();
    for (const DriveSection& section : model.driveFilter)
        sections.push_back({{"zeroHz", section.zeroHz},
                            {"zeroQ", section.zeroQ},
                            {"poleHz", section.poleHz},
                            {"poleQ", section.poleQ}});
    nlohmann::json takes = nlohmann::json::array();
    for (const DrivenTake& take : model.takes)
        takes.push_back({{"name", take.name},
                         {"driveDbfs", take.driveDbfs},
                         {"driveIsStated", take.driveIsStated}});
    nlohmann::json orders = nlohmann::json::array();
    for (const OrderSupport& order : model.orders) {
        nlohmann::json ranges = nlohmann::json::array();
        for (const FundamentalRange& range : order.ranges)
            ranges.push_back({{"fromHz", range.fromHz}, {"toHz", range.toHz}});
        orders.push_back({{"order", order.order},
                          {"ranges", std::move(ranges)},
                          {"largestErrorDb", order.largestErrorDb},
                          {"words", order.words}});
    }
    const nlohmann::json json {
        {"kind", modelKind},
        {"schemaVersion", modelSchemaVersion},
        {"name", model.name},
        {"sampleRate", model.sampleRate},
        {"kernels", {{"file", kernelsFile.filename().string()}, {"checksum", *checksum}}},
        {"arrivalFrame", model.arrivalFrame},
        {"driveFilter", std::move(sections)},
        {"driveGainLinear", model.driveGainLinear},
        {"takes", std::move(takes)},
        {"orders", std::move(orders)},
        {"remarks", model.remarks}};
    return files::writeTextFile(modelFile, files::jsonText(json));
}

dsp::Result<HammersteinModel> loadHammersteinModel(const std::filesystem::path& modelFile)
{
    const auto json = files::loadJson(modelFile);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, modelFile.string());
    reader.expectKind(modelKind, modelSchemaVersion);
    HammersteinModel model;
    model.name = reader.text("name", "");
    model.sampleRate = reader.number("sampleRate", 8000.0, 384000.0);
    model.arrivalFrame = static_cast<std::size_t>(reader.integer("arrivalFrame", 0, 1'000'000));
    model.driveGainLinear = reader.number("driveGainLinear", 1e-6, 1e6);
    for (auto& entry : reader.objects("driveFilter")) {
        DriveSection section;
        section.zeroHz = entry.number("zeroHz", 1.0, 100000.0);
        section.zeroQ = entry.number("zeroQ", 0.1, 20.0);
        section.poleHz = entry.number("poleHz", 1.0, 100000.0);
        section.poleQ = entry.number("poleQ", 0.1, 20.0);
        reader.absorb(entry);
        model.driveFilter.push_back(section);
    }
    for (auto& entry : reader.objects("takes")) {
        DrivenTake take;
        take.name = entry.text("name", "");
        take.driveDbfs = entry.number("driveDbfs", -200.0, 100.0);
        take.driveIsStated = entry.boolean("driveIsStated", false);
        reader.absorb(entry);
        model.takes.push_back(std::move(take));
    }
    for (auto& entry : reader.objects("orders")) {
        OrderSupport order;
        order.order = static_cast<int>(entry.integer("order", 2, highestHarmonic));
        order.largestErrorDb = entry.number("largestErrorDb", 0.0, 400.0, 0.0);
        order.words = entry.text("words", "");
        for (auto& item : entry.objects("ranges")) {
            FundamentalRange range;
            range.fromHz = item.number("fromHz", 1.0, 200000.0);
            range.toHz = item.number("toHz", range.fromHz, 200000.0);
            entry.absorb(item);
            order.ranges.push_back(range);
        }
        reader.absorb(entry);
        model.orders.push_back(std::move(order));
    }
    model.remarks = reader.texts("remarks");
    auto kernels = reader.object("kernels");
    const std::string fileName = kernels.text("file");
    const std::string checksum = kernels.text("checksum");
    reader.absorb(kernels);
    if (model.takes.empty() && !reader.failure())
        reader.reject("takes", "must name the measurements that the model was made from");
    if (const auto beside = files::resolveBeside(modelFile, fileName); !reader.failure() && !beside)
        reader.reject("kernels.file", beside.error().message);
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);

    const auto kernelsFile = modelFile.parent_path() / fileName;
    const auto found = files::fileChecksum(kernelsFile);
    if (!found)
        return dsp::fail(dsp::ErrorCode::notFound,
                         "'" + modelFile.string() + "' needs the kernels '" + kernelsFile.string()
                             + "', which cannot be read; keep the two files together");
    if (*found != checksum)
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + kernelsFile.string() + "' is not the file that '"
                             + modelFile.string() + "' was written with (checksum " + *found
                             + ", expected " + checksum + "); make the model again or restore it");
    auto audio = files::readAudioFile(kernelsFile, {.maxSeconds = longestKernelSeconds});
    if (!audio)
        return audio.unexpected();
    if (audio->sampleRate != model.sampleRate || audio->numChannels() != model.kernels.size()
        || model.arrivalFrame >= audio->numFrames())
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + modelFile.string()
                             + "' and its kernels do not fit each other (sample rate, channels or "
                               "length); make the model again");
    std::ranges::move(audio->channels, model.kernels.begin());
    return model;
}

} // namespace saddletone::measure
