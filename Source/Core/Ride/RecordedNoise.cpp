#include "Core/Ride/RecordedNoise.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <span>

#include <nlohmann/json.hpp>

namespace saddletone::ride {

namespace {

constexpr int noiseSchemaVersion = 1;
constexpr std::string_view noiseKind = "saddletone-ride-noise";
constexpr double highestSpeedKmh = 400.0;

double blend(double lower, double upper, double mix) noexcept
{
    return lower + mix * (upper - lower);
}

double logSpeed(double speedKmh) noexcept
{
    return std::log(std::max(1.0, speedKmh));
}

/** Index of the unused tone whose frequency is nearest to a wanted one, within a proportion;
    tones.size() if there is none. */
std::size_t nearestTone(std::span<const NoiseTone> tones, const std::array<bool, mostTones>& isUsed,
                        double wantedHz, double withinProportion) noexcept
{
    std::size_t nearest = tones.size();
    double smallest = std::log1p(withinProportion);
    for (std::size_t index = 0; index < tones.size(); ++index) {
        const double distance = std::abs(std::log(tones[index].frequencyHz / wantedHz));
        if (!isUsed[index] && distance <= smallest) {
            nearest = index;
            smallest = distance;
        }
    }
    return nearest;
}

NoiseTone blendedTone(const NoiseTone& lower, const NoiseTone& upper, double mix) noexcept
{
    NoiseTone tone;
    tone.frequencyHz = lower.frequencyHz * std::pow(upper.frequencyHz / lower.frequencyHz, mix);
    for (std::size_t ear = 0; ear < 2; ++ear)
        tone.levelsDbfs[ear] = blend(lower.levelsDbfs[ear], upper.levelsDbfs[ear], mix);
    tone.phaseDifferenceRadians =
        std::arg((1.0 - mix) * std::polar(1.0, lower.phaseDifferenceRadians)
                 + mix * std::polar(1.0, upper.phaseDifferenceRadians));
    tone.levelDeviationDb = blend(lower.levelDeviationDb, upper.levelDeviationDb, mix);
    tone.levelMemorySeconds = blend(lower.levelMemorySeconds, upper.levelMemorySeconds, mix);
    tone.glideProportion = blend(lower.glideProportion, upper.glideProportion, mix);
    return tone;
}

void addFadedTone(const NoiseTone& tone, double share, NoiseState& result) noexcept
{
    if (share < 1e-6 || result.numTones == mostTones)
        return;
    NoiseTone& faded = result.tones[result.numTones++];
    faded = tone;
    for (double& levelDbfs : faded.levelsDbfs)
        levelDbfs += dsp::powerToDb(share);
}

void blendTones(const NoiseState& lower, const NoiseState& upper, double mix,
                NoiseState& result) noexcept
{
    constexpr double trackingTolerance = 0.04;
    constexpr double standingTolerance = 0.02;
    const double speedRatio = std::exp(logSpeed(upper.speedKmh) - logSpeed(lower.speedKmh));
    const std::span upperTones(upper.tones.data(), upper.numTones);
    std::array<bool, mostTones> isUsed {};
    result.numTones = 0;
    for (std::size_t index = 0; index < lower.numTones; ++index) {
        const NoiseTone& tone = lower.tones[index];
        std::size_t match =
            nearestTone(upperTones, isUsed, tone.frequencyHz * speedRatio, trackingTolerance);
        if (match == upperTones.size())
            match = nearestTone(upperTones, isUsed, tone.frequencyHz, standingTolerance);
        if (match == upperTones.size()) {
            addFadedTone(tone, 1.0 - mix, result);
            continue;
        }
        isUsed[match] = true;
        if (result.numTones < mostTones)
            result.tones[result.numTones++] = blendedTone(tone, upperTones[match], mix);
    }
    for (std::size_t index = 0; index < upper.numTones; ++index)
        if (!isUsed[index])
            addFadedTone(upperTones[index], mix, result);
    for (std::size_t index = result.numTones; index < mostTones; ++index)
        result.tones[index] = {};
}

nlohmann::json toJson(const NoiseTone& tone)
{
    return {{"frequencyHz", tone.frequencyHz},
            {"levelsDbfs", tone.levelsDbfs},
            {"phaseDifferenceRadians", tone.phaseDifferenceRadians},
            {"levelDeviationDb", tone.levelDeviationDb},
            {"levelMemorySeconds", tone.levelMemorySeconds},
            {"glideProportion", tone.glideProportion}};
}

nlohmann::json toJson(const NoiseRecording& recording)
{
    const NoiseState& state = recording.state;
    auto tones = nlohmann::json::array();
    for (std::size_t index = 0; index < state.numTones; ++index)
        tones.push_back(toJson(state.tones[index]));
    return {{"recording", recording.name},
            {"durationSeconds", recording.durationSeconds},
            {"sampleRate", recording.sampleRate},
            {"numChannels", recording.numChannels},
            {"levelDeviationDb", recording.levelDeviationDb},
            {"remarks", recording.remarks},
            {"speedKmh", state.speedKmh},
            {"leftNoiseDbfs", state.noiseDbfs[0]},
            {"rightNoiseDbfs", state.noiseDbfs[1]},
            {"coherence", state.coherence},
            {"coherencePhaseRadians", state.coherencePhaseRadians},
            {"fluctuation",
             {{"variancesDb2", state.fluctuation.variancesDb2},
              {"skewness", state.fluctuation.skewness},
              {"earCorrelation", state.fluctuation.earCorrelation}}},
            {"glideMemorySeconds", state.glideMemorySeconds},
            {"tones", tones}};
}

template <std::size_t size>
void readNumbers(files::JsonReader& reader, std::string_view key, double lowest, double highest,
                 std::array<double, size>& result)
{
    const auto values = reader.numbers(key, lowest, highest);
    if (values.size() == size)
        std::ranges::copy(values, result.begin());
    else if (!reader.failure())
        reader.reject(key, "must hold " + std::to_string(size) + " numbers, not "
                               + std::to_string(values.size()));
}

NoiseTone readTone(files::JsonReader& reader)
{
    NoiseTone tone;
    tone.frequencyHz = reader.number("frequencyHz", 10.0, 24000.0);
    readNumbers(reader, "levelsDbfs", dsp::silenceDb, 40.0, tone.levelsDbfs);
    tone.phaseDifferenceRadians = reader.number("phaseDifferenceRadians", -7.0, 7.0, 0.0);
    tone.levelDeviationDb = reader.number("levelDeviationDb", 0.0, 30.0, 0.0);
    tone.levelMemorySeconds = reader.number("levelMemorySeconds", 0.01, 1000.0, 1.0);
    tone.glideProportion = reader.number("glideProportion", 0.0, 0.5, 0.0);
    return tone;
}

NoiseRecording readNoiseRecording(files::JsonReader& reader)
{
    NoiseRecording recording;
    recording.name = reader.text("recording", "");
    recording.durationSeconds = reader.number("durationSeconds", 0.0, 1e6, 0.0);
    recording.sampleRate = reader.number("sampleRate", 8000.0, 384000.0, 48000.0);
    recording.numChannels = static_cast<std::size_t>(reader.integer("numChannels", 1, 2, 2));
    recording.levelDeviationDb = reader.number("levelDeviationDb", 0.0, 100.0, 0.0);
    if (reader.has("remarks"))
        recording.remarks = reader.texts("remarks");
    NoiseState& state = recording.state;
    state.speedKmh = reader.number("speedKmh", 0.0, highestSpeedKmh);
    readNumbers(reader, "leftNoiseDbfs", dsp::silenceDb, 40.0, state.noiseDbfs[0]);
    readNumbers(reader, "rightNoiseDbfs", dsp::silenceDb, 40.0, state.noiseDbfs[1]);
    readNumbers(reader, "coherence", 0.0, 1.0, state.coherence);
    readNumbers(reader, "coherencePhaseRadians", -7.0, 7.0, state.coherencePhaseRadians);
    auto fluctuation = reader.object("fluctuation");
    readNumbers(fluctuation, "variancesDb2", 0.0, 400.0, state.fluctuation.variancesDb2);
    state.fluctuation.skewness = fluctuation.number("skewness", -1.5, 1.5, 0.0);
    state.fluctuation.earCorrelation = fluctuation.number("earCorrelation", 0.0, 1.0, 1.0);
    reader.absorb(fluctuation);
    state.glideMemorySeconds = reader.number("glideMemorySeconds", 0.01, 1000.0, 2.0);
    for (files::JsonReader& tone : reader.objects("tones")) {
        if (state.numTones == mostRecordedTones) {
            reader.reject("tones",
                          "holds more than " + std::to_string(mostRecordedTones) + " tones");
            break;
        }
        state.tones[state.numTones++] = readTone(tone);
        reader.absorb(tone);
    }
    return recording;
}

} // namespace

double noiseBandEdgeHz(std::size_t edge) noexcept
{
    return std::pow(10.0, 1.25 + 0.025 * static_cast<double>(edge));
}

double modulationEdgeHz(std::size_t edge) noexcept
{
    return std::exp2(2.0
                     + 0.5 * (static_cast<double>(edge) - static_cast<double>(numModulationBands)));
}

double LevelFluctuation::deviationDb() const noexcept
{
    double variance = 0.0;
    for (const double bandVariance : variancesDb2)
        variance += bandVariance;
    return std::sqrt(variance);
}

std::vector<double> thirdOctaveLevelsDbfs(const NoiseState& state, std::size_t ear)
{
    const auto bands = dsp::thirdOctaveBands();
    std::vector<double> power(bands.size(), 0.0);
    for (std::size_t band = 0; band < numNoiseBands; ++band)
        power[band / 4] += dsp::dbToPower(state.noiseDbfs[ear][band]);
    for (std::size_t index = 0; index < state.numTones; ++index) {
        const NoiseTone& tone = state.tones[index];
        for (std::size_t band = 0; band < bands.size(); ++band)
            if (tone.frequencyHz >= bands[band].lowerHz && tone.frequencyHz < bands[band].upperHz)
                power[band] += dsp::dbToPower(tone.levelsDbfs[ear]);
    }
    std::ranges::transform(power, power.begin(), dsp::powerToDb);
    return power;
}

void interpolateStates(const NoiseState& lower, const NoiseState& upper, double mix,
                       NoiseState& result) noexcept
{
    result.speedKmh = std::exp(blend(logSpeed(lower.speedKmh), logSpeed(upper.speedKmh), mix));
    for (std::size_t band = 0; band < numNoiseBands; ++band) {
        for (std::size_t ear = 0; ear < 2; ++ear) {
            const double from = lower.noiseDbfs[ear][band];
            const double to = upper.noiseDbfs[ear][band];
            const bool isKnown = from > dsp::silenceDb && to > dsp::silenceDb;
            result.noiseDbfs[ear][band] = isKnown ? blend(from, to, mix) : dsp::silenceDb;
        }
        const std::complex<double> coherence =
            (1.0 - mix) * std::polar(lower.coherence[band], lower.coherencePhaseRadians[band])
            + mix * std::polar(upper.coherence[band], upper.coherencePhaseRadians[band]);
        result.coherence[band] = std::min(1.0, std::abs(coherence));
        result.coherencePhaseRadians[band] = std::arg(coherence);
    }
    const LevelFluctuation& calmer = lower.fluctuation;
    const LevelFluctuation& other = upper.fluctuation;
    for (std::size_t band = 0; band < numModulationBands; ++band) {
        const double deviation =
            blend(std::sqrt(calmer.variancesDb2[band]), std::sqrt(other.variancesDb2[band]), mix);
        result.fluctuation.variancesDb2[band] = deviation * deviation;
    }
    result.fluctuation.skewness = blend(calmer.skewness, other.skewness, mix);
    result.fluctuation.earCorrelation = blend(calmer.earCorrelation, other.earCorrelation, mix);
    result.glideMemorySeconds = blend(lower.glideMemorySeconds, upper.glideMemorySeconds, mix);
    blendTones(lower, upper, mix, result);
}

PlaceAmongRecordings RecordedNoise::placeOf(double speedKmh) const noexcept
{
    const std::size_t last = recordings.size() - 1;
    if (speedKmh < recordings.front().state.speedKmh)
        return {SpeedPlace::heldBelow, 0, 0, 0.0};
    if (speedKmh > recordings[last].state.speedKmh)
        return {SpeedPlace::heldAbove, last, last, 0.0};
    for (std::size_t upper = 0; upper <= last; ++upper) {
        const double upperKmh = recordings[upper].state.speedKmh;
        if (speedKmh == upperKmh)
            return {SpeedPlace::recorded, upper, upper, 0.0};
        if (speedKmh < upperKmh) {
            const double from = logSpeed(recordings[upper - 1].state.speedKmh);
            const double to = logSpeed(upperKmh);
            const double mix =
                to > from ? std::clamp((logSpeed(speedKmh) - from) / (to - from), 0.0, 1.0) : 0.0;
            return {SpeedPlace::between, upper - 1, upper, mix};
        }
    }
    return {SpeedPlace::recorded, last, last, 0.0};
}

void RecordedNoise::stateAt(double speedKmh, NoiseState& result) const noexcept
{
    const PlaceAmongRecordings place = placeOf(speedKmh);
    if (place.place == SpeedPlace::between)
        interpolateStates(recordings[place.lower].state, recordings[place.upper].state, place.mix,
                          result);
    else
        result = recordings[place.lower].state;
}

std::string RecordedNoise::placeSentence(double speedKmh) const
{
    const auto kmh = [](double speed) { return files::fixedText(speed, 0) + " km/h"; };
    const PlaceAmongRecordings place = placeOf(speedKmh);
    const double lowerKmh = recordings[place.lower].state.speedKmh;
    switch (place.place) {
    case SpeedPlace::between:
        return "The noise at " + kmh(speedKmh) + " is interpolated between recordings at "
               + kmh(lowerKmh) + " and " + kmh(recordings[place.upper].state.speedKmh) + ".";
    case SpeedPlace::heldBelow:
    case SpeedPlace::heldAbove:
        return "No recording reaches " + kmh(speedKmh) + "; the noise is held as recorded at "
               + kmh(lowerKmh) + ", the nearest, and is "
               + (place.place == SpeedPlace::heldBelow ? "louder" : "quieter")
               + " than on the road.";
    case SpeedPlace::recorded: break;
    }
    return "The noise was recorded at " + kmh(lowerKmh) + ".";
}

std::vector<dsp::ModelFigure> RecordedNoise::figures() const
{
    using dsp::FigureStatus;
    const bool hasMono = std::ranges::any_of(
        recordings, [](const NoiseRecording& recording) { return recording.numChannels == 1; });
    std::string names;
    std::string speeds;
    std::size_t numTones = 0;
    for (const NoiseRecording& recording : recordings) {
        names += (names.empty() ? "" : ", ") + recording.name;
        speeds +=
            (speeds.empty() ? "" : ", ") + files::fixedText(recording.state.speedKmh, 0) + " km/h";
        numTones += recording.state.numTones;
    }
    return {{"noise spectrum", "as recorded at " + speeds, FigureStatus::recorded, names},
            {"tones", std::to_string(numTones) + " in all", FigureStatus::recorded, names},
            {"what counts as a tone", "6 dB above the noise in lines of 1.5 Hz",
             FigureStatus::judgement, "chance does not reach it in 10 s"},
            {"level fluctuation", "below 4 Hz, one gain for all frequencies",
             FigureStatus::recorded, names},
            {"coherence of the ears",
             hasMono ? "none where a recording has one channel" : "as recorded",
             hasMono ? FigureStatus::judgement : FigureStatus::recorded,
             hasMono ? "wind at the two ears is mostly unrelated" : names},
            {"noise between recorded speeds", "straight in dB over the logarithm of speed",
             FigureStatus::judgement, "wind rises so: Binnington, McCombe and Harris 1993"},
            splAtFullScaleDb ? dsp::ModelFigure {"sound pressure level at full scale",
                                                 files::fixedText(*splAtFullScaleDb, 1) + " dB SPL",
                                                 FigureStatus::recorded, calibrationNote}
                             : dsp::ModelFigure {"sound pressure level at full scale",
                                                 "not known: levels are relative",
                                                 FigureStatus::judgement, "no calibration"}};
}

dsp::Result<RecordedNoise> makeRecordedNoise(std::vector<NoiseRecording> recordings)
{
    if (recordings.empty())
        return dsp::fail(dsp::ErrorCode::malformed,
                         "road noise needs at least one recording; none was given");
    std::ranges::sort(recordings, {},
                      [](const NoiseRecording& recording) { return recording.state.speedKmh; });
    for (std::size_t index = 1; index < recordings.size(); ++index)
        if (!(recordings[index].state.speedKmh > recordings[index - 1].state.speedKmh))
            return dsp::fail(dsp::ErrorCode::unsupported,
                             "recordings '" + recordings[index - 1].name + "' and '"
                                 + recordings[index].name + "' are both at "
                                 + files::fixedText(recordings[index].state.speedKmh, 0)
                                 + " km/h; give each speed once");
    RecordedNoise noise;
    noise.recordings = std::move(recordings);
    return noise;
}

dsp::Result<void> saveRecordedNoise(const RecordedNoise& noise, const std::filesystem::path& file)
{
    auto recordings = nlohmann::json::array();
    for (const NoiseRecording& recording : noise.recordings)
        recordings.push_back(toJson(recording));
    nlohmann::json json {{"kind", noiseKind},
                         {"schemaVersion", noiseSchemaVersion},
                         {"calibrationNote", noise.calibrationNote},
                         {"recordings", recordings}};
    if (noise.splAtFullScaleDb)
        json["splAtFullScaleDb"] = *noise.splAtFullScaleDb;
    return files::writeTextFile(file, files::jsonText(json));
}

dsp::Result<RecordedNoise> loadRecordedNoise(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, file.string());
    reader.expectKind(noiseKind, noiseSchemaVersion);
    std::optional<double> splAtFullScaleDb;
    if (reader.has("splAtFullScaleDb"))
        splAtFullScaleDb = reader.number("splAtFullScaleDb", 0.0, 250.0);
    const std::string calibrationNote = reader.text("calibrationNote", "");
    std::vector<NoiseRecording> recordings;
    for (files::JsonReader& entry : reader.objects("recordings")) {
        recordings.push_back(readNoiseRecording(entry));
        reader.absorb(entry);
    }
    if (!reader.failure() && recordings.empty())
        reader.reject("recordings", "holds no recording");
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    auto noise = makeRecordedNoise(std::move(recordings));
    if (!noise)
        return dsp::fail(noise.error().code, "'" + file.string() + "': " + noise.error().message);
    noise->splAtFullScaleDb = splAtFullScaleDb;
    noise->calibrationNote = calibrationNote;
    return noise;
}

} // namespace saddletone::ride
