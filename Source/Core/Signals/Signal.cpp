#include "Core/Signals/Signal.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"
#include "Core/Signals/ShapedNoise.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace saddletone::signals {

namespace {

constexpr int descriptionSchemaVersion = 1;
constexpr std::string_view descriptionKind = "saddletone-signal";
constexpr double highestSweepFraction = 0.4583; // of the sample rate: 22 kHz at 48 kHz

dsp::Unexpected outOfRange(const std::string& message)
{
    return dsp::fail(dsp::ErrorCode::outOfRange, message);
}

std::optional<dsp::Unexpected> checkRequest(const SignalRequest& request)
{
    if (std::ranges::find(signalSampleRates, request.sampleRate) == signalSampleRates.end())
        return outOfRange("sample rate " + files::fixedText(request.sampleRate, 0)
                          + " Hz is not offered; use 44100, 48000, 88200 or 96000");
    if (!(request.seconds >= 0.5 && request.seconds <= 600.0))
        return outOfRange("a test signal lasts 0.5 to 600 s, not "
                          + files::fixedText(request.seconds, 2));
    // JSON readers of other programs take whole numbers of 63 bits.
    if (request.seed > static_cast<std::uint64_t>(std::numeric_limits<long long>::max()))
        return outOfRange("the seed must lie between 0 and 2^63 - 1");
    if (!(request.levelDbfs >= -100.0 && request.levelDbfs <= 0.0))
        return outOfRange("the level must lie between -100 and 0 dBFS, not "
                          + files::fixedText(request.levelDbfs, 2));
    const double nyquistHz = 0.5 * request.sampleRate;
    const bool banded = request.type == SignalType::pink || request.type == SignalType::white
                        || request.type == SignalType::sweep;
    if (banded) {
        const double fromHz = request.fromHz.value_or(10.0);
        const double toHz = request.toHz.value_or(nyquistHz);
        if (!(fromHz >= 5.0 && toHz <= nyquistHz && fromHz * 1.1 <= toHz))
            return outOfRange(
                "the band must lie between 5 Hz and half the sample rate ("
                + files::fixedText(nyquistHz, 0) + " Hz), its upper limit above the lower; not "
                + files::fixedText(fromHz, 1) + " to " + files::fixedText(toHz, 1) + " Hz");
    }
    if (request.type == SignalType::sine
        && !(request.frequencyHz * request.seconds >= 1.0 && request.frequencyHz >= 5.0
             && request.frequencyHz <= 0.499 * request.sampleRate))
        return outOfRange(
            "the sine's frequency must lie between 5 Hz and half the sample rate, not "
            + files::fixedText(request.frequencyHz, 1) + " Hz");
    return std::nullopt;
}

std::size_t toFrames(double seconds, double sampleRate)
{
    return static_cast<std::size_t>(std::lround(seconds * sampleRate));
}

std::vector<float> repeated(const std::vector<float>& period, std::size_t times)
{
    std::vector<float> samples;
    samples.reserve(period.size() * times);
    for (std::size_t count = 0; count < times; ++count)
        samples.insert(samples.end(), period.begin(), period.end());
    return samples;
}

std::vector<float> makeNoise(const SignalRequest& request, SignalDescription& description)
{
    NoiseShape shape;
    shape.colour = request.type == SignalType::pink ? NoiseColour::pink : NoiseColour::white;
    shape.sampleRate = request.sampleRate;
    shape.fromHz = request.fromHz.value_or(10.0);
    shape.toHz = request.toHz.value_or(22400.0);
    shape.rms = dsp::dbfsToRms(request.levelDbfs);
    shape.seed = request.seed;
    description.fromHz = shape.fromHz;
    description.toHz = std::min(shape.toHz, 0.5 * request.sampleRate);
    description.seed = request.seed;

    const std::size_t numFrames = toFrames(request.seconds, request.sampleRate);
    if (request.repetition == Repetition::none)
        return makeShapedNoise(shape, numFrames);
    // 2^19 frames at 48 kHz, 10.9 s, is the period of SMPTE ST 2095-1; shorter where the file is.
    std::size_t period = request.sampleRate > 50000.0 ? 1U << 20U : 1U << 19U;
    while (period > numFrames)
        period /= 2;
    description.periodFrames = period;
    return repeated(makeShapedNoise(shape, period), (numFrames + period - 1) / period);
}

std::vector<float> makeSine(const SignalRequest& request, SignalDescription& description)
{
    const std::size_t numFrames = toFrames(request.seconds, request.sampleRate);
    // Whole cycles: the level is exact over the file and it can be looped.
    const double cycles =
        std::round(request.frequencyHz * static_cast<double>(numFrames) / request.sampleRate);
    description.frequencyHz = cycles * request.sampleRate / static_cast<double>(numFrames);
    description.periodFrames = numFrames;
    const double amplitude = dsp::dbToAmplitude(request.levelDbfs);
    std::vector<float> samples(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const double turns = cycles * static_cast<double>(frame) / static_cast<double>(numFrames);
        samples[frame] = static_cast<float>(
            amplitude * std::sin(2.0 * std::numbers::pi * (turns - std::floor(turns))));
    }
    return samples;
}

std::vector<float> makeSweepTrack(const SignalRequest& request, SignalDescription& description)
{
    const double rate = request.sampleRate;
    SweepLayout layout;
    layout.sweep.fromHz = request.fromHz.value_or(20.0);
    layout.sweep.toHz = std::min(request.toHz.value_or(22000.0), highestSweepFraction * rate);
    layout.sweep.numFrames = toFrames(request.seconds, rate);
    layout.sweep.amplitude = dsp::dbToAmplitude(request.levelDbfs);
    // A sixth of an octave to rise in, so that the lowest bands hear no click; a forty-eighth to
    // fall, since high frequencies pass quickly.
    const double framesPerOctave = static_cast<double>(layout.sweep.numFrames)
                                   / std::log2(layout.sweep.toHz / layout.sweep.fromHz);
    layout.sweep.fadeInFrames = static_cast<std::size_t>(framesPerOctave / 6.0);
    layout.sweep.fadeOutFrames = static_cast<std::size_t>(framesPerOctave / 48.0);
    layout.marker.amplitude = layout.sweep.amplitude;

    // The gaps let the place ring out, so that neither marker nor sweep stands in another's tail.
    const std::size_t markerFrames = toFrames(layout.marker.durationSeconds, rate);
    layout.firstMarkerFrame = toFrames(0.75, rate);
    layout.sweepFrame = layout.firstMarkerFrame + markerFrames + toFrames(1.0, rate);
    layout.secondMarkerFrame = layout.sweepFrame + layout.sweep.numFrames + toFrames(2.0, rate);
    std::vector<float> samples(layout.secondMarkerFrame + markerFrames + toFrames(1.0, rate), 0.0F);

    const auto place = [&samples](const std::vector<double>& part, std::size_t frame) {
        std::ranges::transform(part, samples.begin() + static_cast<std::ptrdiff_t>(frame),
                               [](double sample) { return static_cast<float>(sample); });
    };
    const auto marker = makeMarker(layout.marker, rate);
    place(marker, layout.firstMarkerFrame);
    place(makeSweep(layout.sweep, rate), layout.sweepFrame);
    place(marker, layout.secondMarkerFrame);

    description.fromHz = layout.sweep.fromHz;
    description.toHz = layout.sweep.toHz;
    description.sweepLayout = layout;
    return samples;
}

nlohmann::json sweepLayoutToJson(const SweepLayout& layout)
{
    return {{"firstMarkerFrame", layout.firstMarkerFrame},
            {"sweepFrame", layout.sweepFrame},
            {"secondMarkerFrame", layout.secondMarkerFrame},
            {"sweep",
             {{"fromHz", layout.sweep.fromHz},
              {"toHz", layout.sweep.toHz},
              {"numFrames", layout.sweep.numFrames},
              {"fadeInFrames", layout.sweep.fadeInFrames},
              {"fadeOutFrames", layout.sweep.fadeOutFrames},
              {"amplitude", layout.sweep.amplitude}}},
            {"marker",
             {{"fromHz", layout.marker.fromHz},
              {"toHz", layout.marker.toHz},
              {"durationSeconds", layout.marker.durationSeconds},
              {"amplitude", layout.marker.amplitude}}}};
}

SweepLayout sweepLayoutFromJson(files::JsonReader& reader, const SignalDescription& description)
{
    const auto maxFrames = static_cast<long long>(description.numFrames);
    const double nyquistHz = 0.5 * description.sampleRate;
    const auto frame = [&](files::JsonReader& from, std::string_view key) {
        return static_cast<std::size_t>(from.integer(key, 0, maxFrames));
    };
    SweepLayout layout;
    layout.firstMarkerFrame = frame(reader, "firstMarkerFrame");
    layout.sweepFrame = frame(reader, "sweepFrame");
    layout.secondMarkerFrame = frame(reader, "secondMarkerFrame");
    auto sweep = reader.object("sweep");
    layout.sweep.fromHz = sweep.number("fromHz", 1.0, nyquistHz);
    layout.sweep.toHz = sweep.number("toHz", 1.0, nyquistHz);
    layout.sweep.numFrames = frame(sweep, "numFrames");
    layout.sweep.fadeInFrames = frame(sweep, "fadeInFrames");
    layout.sweep.fadeOutFrames = frame(sweep, "fadeOutFrames");
    layout.sweep.amplitude = sweep.number("amplitude", 1e-6, 1.0);
    auto marker = reader.object("marker");
    layout.marker.fromHz = marker.number("fromHz", 1.0, nyquistHz);
    layout.marker.toHz = marker.number("toHz", 1.0, nyquistHz);
    layout.marker.durationSeconds = marker.number("durationSeconds", 0.01, 5.0);
    layout.marker.amplitude = marker.number("amplitude", 1e-6, 1.0);
    reader.absorb(sweep);
    reader.absorb(marker);

    const std::size_t markerFrames =
        toFrames(layout.marker.durationSeconds, description.sampleRate);
    if (!reader.failure()
        && (layout.sweep.toHz <= layout.sweep.fromHz || layout.marker.toHz <= layout.marker.fromHz
            || layout.firstMarkerFrame + markerFrames > layout.sweepFrame
            || layout.sweepFrame + layout.sweep.numFrames > layout.secondMarkerFrame
            || layout.secondMarkerFrame + markerFrames > description.numFrames
            || layout.sweep.numFrames < 1000))
        reader.reject(
            "firstMarkerFrame",
            "and the frames beside it do not describe marker, sweep, marker in this order");
    return layout;
}

} // namespace

std::string_view signalTypeName(SignalType type) noexcept
{
    switch (type) {
    case SignalType::white: return "white";
    case SignalType::sweep: return "sweep";
    case SignalType::sine: return "sine";
    case SignalType::silence: return "silence";
    case SignalType::pink: break;
    }
    return "pink";
}

dsp::Result<SignalType> parseSignalType(std::string_view name)
{
    for (const SignalType type : allSignalTypes)
        if (signalTypeName(type) == name)
            return type;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "signal '" + std::string(name)
                         + "' is not known; use pink, white, sweep, sine or silence");
}

dsp::Result<Signal> makeSignal(const SignalRequest& request)
{
    if (const auto problem = checkRequest(request))
        return *problem;

    Signal signal;
    SignalDescription& description = signal.description;
    description.type = request.type;
    description.sampleRate = request.sampleRate;
    description.levelDbfs = request.levelDbfs;
    std::vector<float> samples;
    switch (request.type) {
    case SignalType::pink:
    case SignalType::white: samples = makeNoise(request, description); break;
    case SignalType::sweep: samples = makeSweepTrack(request, description); break;
    case SignalType::sine: samples = makeSine(request, description); break;
    case SignalType::silence:
        samples.resize(toFrames(request.seconds, request.sampleRate));
        description.levelDbfs = dsp::silenceDb;
        break;
    }

    float peak = 0.0F;
    for (const float sample : samples)
        peak = std::max(peak, std::abs(sample));
    description.peakDbfs = dsp::amplitudeToDb(static_cast<double>(peak));
    // Half a dB of room in noise keeps dither and resampling in the player clear of full scale.
    const double roomDb =
        request.type == SignalType::sine || request.type == SignalType::sweep ? 0.0 : 0.5;
    if (description.peakDbfs > -roomDb + 1e-6)
        return outOfRange(
            "at " + files::fixedText(request.levelDbfs, 1) + " dBFS the peaks of this "
            + std::string(signalTypeName(request.type))
            + " signal would pass full scale; use a level of at most "
            + files::fixedText(
                std::floor((request.levelDbfs - description.peakDbfs - roomDb) * 10.0) / 10.0, 1)
            + " dBFS");
    description.numFrames = samples.size();
    signal.audio = {request.sampleRate, {std::move(samples)}};
    return signal;
}

dsp::Result<std::filesystem::path>
saveSignal(const Signal& signal, const std::filesystem::path& audioFile, files::SampleFormat format)
{
    if (const auto written =
            files::writeAudioFile(signal.audio, audioFile, format, signal.description.seed);
        !written)
        return written.unexpected();
    const auto checksum = files::fileChecksum(audioFile);
    if (!checksum)
        return checksum.unexpected();

    const SignalDescription& description = signal.description;
    nlohmann::json json {{"kind", descriptionKind},
                         {"schemaVersion", descriptionSchemaVersion},
                         {"type", signalTypeName(description.type)},
                         {"file", audioFile.filename().string()},
                         {"checksum", *checksum},
                         {"sampleFormat", files::sampleFormatName(format)},
                         {"sampleRate", description.sampleRate},
                         {"numFrames", description.numFrames},
                         {"levelDbfs", description.levelDbfs},
                         {"peakDbfs", description.peakDbfs},
                         {"seed", description.seed}};
    if (description.periodFrames != 0)
        json["periodFrames"] = description.periodFrames;
    if (description.toHz > 0.0) {
        json["fromHz"] = description.fromHz;
        json["toHz"] = description.toHz;
    }
    if (description.frequencyHz > 0.0)
        json["frequencyHz"] = description.frequencyHz;
    if (description.sweepLayout)
        json["layout"] = sweepLayoutToJson(*description.sweepLayout);

    auto descriptionFile = audioFile;
    descriptionFile.replace_extension(".signal.json");
    if (const auto written = files::writeTextFile(descriptionFile, files::jsonText(json)); !written)
        return written.unexpected();
    return descriptionFile;
}

dsp::Result<SignalDescription> loadSignalDescription(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, file.string());
    reader.expectKind(descriptionKind, descriptionSchemaVersion);

    SignalDescription description;
    if (const auto type = parseSignalType(reader.text("type")))
        description.type = *type;
    else
        reader.reject("type", "must be pink, white, sweep, sine or silence");
    description.sampleRate = reader.number("sampleRate", 8000.0, 384000.0);
    description.numFrames = static_cast<std::size_t>(reader.integer("numFrames", 1, 1'000'000'000));
    description.levelDbfs = reader.number("levelDbfs", dsp::silenceDb, 0.0);
    description.peakDbfs = reader.number("peakDbfs", dsp::silenceDb, 20.0, 0.0);
    description.seed = static_cast<std::uint64_t>(
        reader.integer("seed", 0, std::numeric_limits<long long>::max(), 1));
    description.periodFrames =
        static_cast<std::size_t>(reader.integer("periodFrames", 0, 1'000'000'000, 0));
    description.fromHz = reader.number("fromHz", 0.0, 384000.0, 0.0);
    description.toHz = reader.number("toHz", 0.0, 384000.0, 0.0);
    description.frequencyHz = reader.number("frequencyHz", 0.0, 384000.0, 0.0);
    description.file = reader.text("file", "");
    description.checksum = reader.text("checksum", "");
    if (description.type == SignalType::sweep && !reader.has("layout"))
        reader.reject("layout", "is missing; a sweep cannot be analysed without it");
    if (reader.has("layout") && !reader.failure()) {
        auto layout = reader.object("layout");
        description.sweepLayout = sweepLayoutFromJson(layout, description);
        reader.absorb(layout);
    }
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return description;
}

} // namespace saddletone::signals
