#include "Core/Measure/Response.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Statistics.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/InnerPath.h"
#include "Core/Files/JsonReader.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include <nlohmann/json.hpp>

namespace saddletone::measure {

namespace {

constexpr int stateSchemaVersion = 1;
constexpr std::string_view stateKind = "saddletone-state";
constexpr std::array allEngineStates {EngineState::off, EngineState::idle, EngineState::running};
constexpr std::array allPolarities {Polarity::unclear, Polarity::positive, Polarity::negative};

} // namespace

double standardDeviationDb(const BandConfidence& band) noexcept
{
    return std::max(band.uncertaintyDb, band.interval95Db / dsp::normal95);
}

const BandConfidence* bandAt(const Response& response, double frequencyHz) noexcept
{
    const auto match = std::ranges::find_if(response.bands, [&](const BandConfidence& band) {
        return std::abs(band.frequencyHz / frequencyHz - 1.0) < 1e-3;
    });
    return match == response.bands.end() ? nullptr : &*match;
}

std::string_view engineStateName(EngineState state) noexcept
{
    switch (state) {
    case EngineState::idle: return "idle";
    case EngineState::running: return "running";
    case EngineState::off: break;
    }
    return "off";
}

dsp::Result<EngineState> parseEngineState(std::string_view name)
{
    for (const EngineState state : allEngineStates)
        if (engineStateName(state) == name)
            return state;
    return dsp::fail(dsp::ErrorCode::malformed, "engine state '" + std::string(name)
                                                    + "' is not known; use off, idle or running");
}

std::string_view polarityName(Polarity polarity) noexcept
{
    switch (polarity) {
    case Polarity::positive: return "positive";
    case Polarity::negative: return "negative";
    case Polarity::unclear: break;
    }
    return "unclear";
}

dsp::Result<Polarity> parsePolarity(std::string_view name)
{
    for (const Polarity polarity : allPolarities)
        if (polarityName(polarity) == name)
            return polarity;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "polarity '" + std::string(name)
                         + "' is not known; use positive, negative or unclear");
}

std::vector<std::complex<double>> Response::at(std::span<const double> frequenciesHz) const
{
    std::vector<std::complex<double>> values;
    values.reserve(frequenciesHz.size());
    for (const double frequencyHz : frequenciesHz) {
        const double radiansPerSample = 2.0 * std::numbers::pi * frequencyHz / sampleRate;
        const std::complex<double> step = std::polar(1.0, -radiansPerSample);
        std::complex<double> sum;
        // The rotating factor is renewed now and then, so that its rounding does not build up.
        constexpr std::size_t renewal = 1024;
        std::complex<double> factor;
        for (std::size_t frame = 0; frame < impulse.size(); ++frame) {
            if (frame % renewal == 0)
                factor = std::polar(
                    1.0, -radiansPerSample
                             * (static_cast<double>(frame) - static_cast<double>(arrivalFrame)));
            sum += static_cast<double>(impulse[frame]) * factor;
            factor *= step;
        }
        values.push_back(sum);
    }
    return values;
}

std::vector<double> Response::magnitudeDb(std::span<const double> frequenciesHz,
                                          int numPerOctave) const
{
    dsp::FftStore transforms;
    return magnitudeDb(frequenciesHz, numPerOctave, transforms);
}

std::vector<double> Response::magnitudeDb(std::span<const double> frequenciesHz, int numPerOctave,
                                          dsp::FftStore& transforms) const
{
    std::vector<double> levels;
    levels.reserve(frequenciesHz.size());
    if (numPerOctave <= 0) {
        for (const std::complex<double>& value : at(frequenciesHz))
            levels.push_back(dsp::amplitudeToDb(std::abs(value)));
        return levels;
    }

    // Bins of at most 0.4 Hz, so that a twenty-fourth of an octave at 20 Hz holds more than one.
    const std::size_t size = dsp::fastFftSize(
        std::max(impulse.size(), static_cast<std::size_t>(std::ceil(sampleRate / 0.4))));
    const auto fft = transforms.real<double>(size, dsp::FftDirections::forwardOnly);
    std::ranges::fill(fft->time(), 0.0);
    std::ranges::copy(impulse, fft->time().begin());
    fft->forward();
    const auto spectrum = fft->spectrum();
    std::vector<double> sumBelow(spectrum.size() + 1, 0.0);
    for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
        sumBelow[bin + 1] = sumBelow[bin] + std::norm(spectrum[bin]);
    // Integral of the power from 0 to a position in bins, bin k reaching from k - 1/2 to k + 1/2.
    const auto integral = [&](double position) {
        const double shifted =
            std::clamp(position + 0.5, 0.0, static_cast<double>(spectrum.size()) - 1e-9);
        const auto whole = static_cast<std::size_t>(shifted);
        return sumBelow[whole]
               + (shifted - static_cast<double>(whole)) * (sumBelow[whole + 1] - sumBelow[whole]);
    };
    const double binHz = sampleRate / static_cast<double>(size);
    const double halfBand = std::exp2(0.5 / numPerOctave);
    for (const double frequencyHz : frequenciesHz) {
        const double lower = frequencyHz / halfBand / binHz;
        const double upper = frequencyHz * halfBand / binHz;
        levels.push_back(dsp::powerToDb((integral(upper) - integral(lower)) / (upper - lower)));
    }
    return levels;
}

std::filesystem::path impulsePath(const std::filesystem::path& stateFile)
{
    auto file = stateFile;
    return file.replace_extension(".impulse.wav");
}

std::filesystem::path harmonicsPath(const std::filesystem::path& stateFile)
{
    auto file = stateFile;
    return file.replace_extension(".harmonics.wav");
}

namespace {

/** Writes the harmonics beside a state, or removes those of an earlier one; what the state says of
    them, null if there are none. */
dsp::Result<nlohmann::json> saveHarmonics(const Response& response,
                                          const std::filesystem::path& stateFile)
{
    const auto file = harmonicsPath(stateFile);
    if (!response.harmonics) {
        std::error_code none; // most states never had any
        std::filesystem::remove(file, none);
        return nlohmann::json();
    }
    const dsp::AudioBuffer audio {response.sampleRate, response.harmonics->orders};
    if (const auto written = files::writeAudioFile(audio, file, files::SampleFormat::float32);
        !written)
        return written.unexpected();
    const auto checksum = files::fileChecksum(file);
    if (!checksum)
        return checksum.unexpected();
    return nlohmann::json {{"file", file.filename().string()},
                           {"checksum", *checksum},
                           {"driveDbfs", response.harmonics->driveDbfs},
                           {"arrivalFrame", response.harmonics->arrivalFrame}};
}

/** Reads a WAV file that a state names, and holds it against the checksum. */
dsp::Result<dsp::AudioBuffer> loadBeside(const std::filesystem::path& stateFile,
                                         const std::string& fileName, const std::string& checksum,
                                         const std::string& content)
{
    const auto file = stateFile.parent_path() / fileName;
    const auto found = files::fileChecksum(file);
    if (!found)
        return dsp::fail(dsp::ErrorCode::notFound,
                         "'" + stateFile.string() + "' needs the " + content + " '" + file.string()
                             + "', which cannot be read; keep the two files together");
    if (*found != checksum)
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + file.string() + "' is not the file that '" + stateFile.string()
                             + "' was written with (checksum " + *found + ", expected " + checksum
                             + "); measure again or restore it");
    return files::readAudioFile(file, {.maxSeconds = 10.0});
}

} // namespace

dsp::Result<void> saveResponse(const Response& response, const std::filesystem::path& stateFile)
{
    // A state that cannot be written must not leave its impulse behind.
    if (const auto probe = files::AtomicFile::open(stateFile); !probe)
        return probe.unexpected();
    const auto impulseFile = impulsePath(stateFile);
    const dsp::AudioBuffer audio {response.sampleRate, {response.impulse}};
    if (const auto written =
            files::writeAudioFile(audio, impulseFile, files::SampleFormat::float32);
        !written)
        return written.unexpected();
    const auto checksum = files::fileChecksum(impulseFile);
    if (!checksum)
        return checksum.unexpected();

    const auto harmonics = saveHarmonics(response, stateFile);
    if (!harmonics)
        return harmonics.unexpected();

    nlohmann::json bands = nlohmann::json::array();
    for (const BandConfidence& band : response.bands)
        bands.push_back({{"frequencyHz", band.frequencyHz},
                         {"levelDb", band.levelDb},
                         {"snrDb", band.snrDb},
                         {"uncertaintyDb", band.uncertaintyDb},
                         {"trusted", band.trusted},
                         {"spreadDb", band.spreadDb},
                         {"interval95Db", band.interval95Db}});
    nlohmann::json json {
        {"kind", stateKind},
        {"schemaVersion", stateSchemaVersion},
        {"name", response.name},
        {"invented", response.invented},
        {"state",
         {{"radioProfile", response.state.radioProfile},
          {"engine", engineStateName(response.state.engine)},
          {"speedKmh", response.state.speedKmh},
          {"microphonePlace", response.state.microphonePlace},
          {"volumeStep", response.state.volumeStep},
          {"speakers", speakerGroupName(response.state.speakers)}}},
        {"sampleRate", response.sampleRate},
        {"impulse", {{"file", impulseFile.filename().string()}, {"checksum", *checksum}}},
        {"arrivalFrame", response.arrivalFrame},
        {"fromHz", response.fromHz},
        {"toHz", response.toHz},
        {"clockPpm", response.clockPpm},
        {"snrDb", response.snrDb},
        {"numTakes", response.numTakes},
        {"bands", std::move(bands)},
        {"remarks", response.remarks}};
    if (response.hasCalibration)
        json["calibration"] = {{"toneSplDb", response.calibration.toneSplDb},
                               {"toneDbfs", response.calibration.toneDbfs}};
    if (!response.distortion.empty()) {
        json["distortion"] = nlohmann::json::array();
        for (const HarmonicOrder& order : response.distortion) {
            nlohmann::json levels = nlohmann::json::array();
            for (const HarmonicLevel& level : order.levels)
                levels.push_back({{"frequencyHz", level.frequencyHz},
                                  {"levelDb", level.levelDb},
                                  {"floorDb", level.floorDb}});
            json["distortion"].push_back({{"order", order.order}, {"levels", std::move(levels)}});
        }
    }
    if (!harmonics->is_null())
        json["harmonics"] = *harmonics;
    if (!response.polarityReason.empty())
        json["polarity"] = {{"sign", polarityName(response.polarity)},
                            {"reason", response.polarityReason}};
    if (response.arrivalSeconds > 0.0)
        json["arrivalSeconds"] = response.arrivalSeconds;
    if (!response.recordingChecksum.empty())
        json["recordingChecksum"] = response.recordingChecksum;
    if (response.trackStartSeconds)
        json["trackStartSeconds"] = *response.trackStartSeconds;
    return files::writeTextFile(stateFile, files::jsonText(json));
}

dsp::Result<Response> loadResponse(const std::filesystem::path& stateFile)
{
    const auto json = files::loadJson(stateFile);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, stateFile.string());
    reader.expectKind(stateKind, stateSchemaVersion);

    Response response;
    response.name = reader.text("name", "");
    response.invented = reader.boolean("invented", false);
    auto state = reader.object("state");
    response.state.radioProfile = state.text("radioProfile", "");
    if (const auto engine = parseEngineState(state.text("engine", "off")))
        response.state.engine = *engine;
    else
        state.reject("engine", "must be off, idle or running");
    response.state.speedKmh = state.number("speedKmh", 0.0, 400.0, 0.0);
    response.state.microphonePlace = state.text("microphonePlace", "");
    response.state.volumeStep = state.text("volumeStep", "");
    if (const auto speakers = parseSpeakerGroup(state.text("speakers", "all")))
        response.state.speakers = *speakers;
    else
        state.reject("speakers", "must be " + speakerGroupChoices());
    reader.absorb(state);

    response.sampleRate = reader.number("sampleRate", 8000.0, 384000.0);
    response.arrivalFrame = static_cast<std::size_t>(reader.integer("arrivalFrame", 0, 10'000'000));
    response.fromHz = reader.number("fromHz", 1.0, 192000.0);
    response.toHz = reader.number("toHz", 1.0, 192000.0);
    response.clockPpm = reader.number("clockPpm", -1e6, 1e6, 0.0);
    response.snrDb = reader.number("snrDb", dsp::silenceDb, 400.0, 0.0);
    response.numTakes = static_cast<std::size_t>(reader.integer("numTakes", 1, 1000, 1));
    response.remarks = reader.texts("remarks");
    if (reader.has("calibration")) {
        auto calibration = reader.object("calibration");
        response.hasCalibration = true;
        response.calibration.toneSplDb = calibration.number("toneSplDb", 40.0, 140.0);
        response.calibration.toneDbfs = calibration.number("toneDbfs", -120.0, 0.0);
        reader.absorb(calibration);
    }
    for (auto& entry : reader.objects("bands")) {
        BandConfidence band;
        band.frequencyHz = entry.number("frequencyHz", 1.0, 100000.0);
        band.levelDb = entry.number("levelDb", dsp::silenceDb, 400.0);
        band.snrDb = entry.number("snrDb", dsp::silenceDb, 400.0);
        band.uncertaintyDb = entry.number("uncertaintyDb", 0.0, 400.0);
        band.trusted = entry.boolean("trusted", false);
        band.spreadDb = entry.number("spreadDb", 0.0, 400.0, 0.0);
        // Files from before it was stored: two standard deviations.
        band.interval95Db = entry.number("interval95Db", 0.0, 800.0, 2.0 * band.uncertaintyDb);
        reader.absorb(entry);
        response.bands.push_back(band);
    }
    for (auto& entry : reader.objects("distortion")) {
        HarmonicOrder order;
        order.order = static_cast<int>(entry.integer("order", 2, 20));
        for (auto& item : entry.objects("levels")) {
            HarmonicLevel level;
            level.frequencyHz = item.number("frequencyHz", 1.0, 100000.0);
            level.levelDb = item.number("levelDb", 2.0 * dsp::silenceDb, 400.0);
            level.floorDb = item.number("floorDb", 2.0 * dsp::silenceDb, 400.0);
            entry.absorb(item);
            order.levels.push_back(level);
        }
        reader.absorb(entry);
        response.distortion.push_back(std::move(order));
    }
    if (reader.has("polarity")) {
        auto polarity = reader.object("polarity");
        if (const auto sign = parsePolarity(polarity.text("sign", "unclear")))
            response.polarity = *sign;
        else
            polarity.reject("sign", "must be positive, negative or unclear");
        response.polarityReason = polarity.text("reason", "");
        reader.absorb(polarity);
    }
    response.arrivalSeconds = reader.number("arrivalSeconds", 0.0, 1e6, 0.0);
    response.recordingChecksum = reader.text("recordingChecksum", "");
    if (reader.has("trackStartSeconds"))
        response.trackStartSeconds = reader.number("trackStartSeconds", 0.0, 36000.0);
    auto impulse = reader.object("impulse");
    const std::string fileName = impulse.text("file");
    const std::string checksum = impulse.text("checksum");
    reader.absorb(impulse);
    if (const auto beside = files::resolveBeside(stateFile, fileName); !reader.failure() && !beside)
        reader.reject("impulse.file", beside.error().message);
    std::string harmonicsName;
    std::string harmonicsChecksum;
    if (reader.has("harmonics")) {
        auto harmonics = reader.object("harmonics");
        harmonicsName = harmonics.text("file");
        harmonicsChecksum = harmonics.text("checksum");
        response.harmonics.emplace();
        response.harmonics->driveDbfs = harmonics.number("driveDbfs", -100.0, 0.0);
        response.harmonics->arrivalFrame =
            static_cast<std::size_t>(harmonics.integer("arrivalFrame", 0, 10'000'000));
        reader.absorb(harmonics);
        if (const auto beside = files::resolveBeside(stateFile, harmonicsName);
            !reader.failure() && !beside)
            reader.reject("harmonics.file", beside.error().message);
    }
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);

    auto audio = loadBeside(stateFile, fileName, checksum, "impulse response");
    if (!audio)
        return audio.unexpected();
    response.impulse = std::move(audio->channels.front());
    if (audio->sampleRate != response.sampleRate
        || response.arrivalFrame >= response.impulse.size())
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + stateFile.string()
                             + "' and its impulse response do not fit each other "
                               "(sample rate or length); measure again");
    // All but overdrive can do without them, so a state that was moved alone is not refused.
    std::error_code unknown;
    if (response.harmonics
        && !std::filesystem::exists(stateFile.parent_path() / harmonicsName, unknown))
        response.harmonics.reset();
    if (response.harmonics) {
        auto orders = loadBeside(stateFile, harmonicsName, harmonicsChecksum, "harmonics");
        if (!orders)
            return orders.unexpected();
        if (orders->sampleRate != response.sampleRate || orders->numChannels() != 4
            || response.harmonics->arrivalFrame >= orders->numFrames())
            return dsp::fail(dsp::ErrorCode::malformed,
                             "'" + stateFile.string()
                                 + "' and its harmonics do not fit each other (sample rate, "
                                   "channels or length); measure again");
        response.harmonics->orders = std::move(orders->channels);
    }
    return response;
}

} // namespace saddletone::measure
