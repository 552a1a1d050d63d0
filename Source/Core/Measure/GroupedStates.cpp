#include "Core/Measure/GroupedStates.h"

#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/Fft.h"
#include "Core/Dsp/FractionalDelay.h"
#include "Core/Dsp/MinimumPhase.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/SpeakerSet.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <complex>
#include <utility>

namespace saddletone::measure {

namespace {

constexpr int smoothingPerOctave = 12;
constexpr std::size_t filterBins = 4096;
constexpr double lowestHz = 20.0;
/** What a group needs of the power of all of them to count for a band's trust. */
constexpr double leastShare = 0.01;
constexpr double largestUncertaintyDb = 60.0;

dsp::Result<void> refuse(std::string message)
{
    return dsp::fail(dsp::ErrorCode::notTrustworthy, std::move(message));
}

std::string namesOf(const Response& first, const Response& second)
{
    return "'" + first.name + "' and '" + second.name + "'";
}

/** Whether a state can stand beside those before it. */
dsp::Result<void> checkBeside(const Response& first, const Response& other)
{
    const std::string names = namesOf(first, other);
    if (first.state.radioProfile != other.state.radioProfile)
        return refuse(names
                      + " are of two radio profiles; speaker groups that are heard together have "
                        "to be measured with one");
    if (first.state.engine != other.state.engine || first.state.speedKmh != other.state.speedKmh)
        return refuse(names
                      + " differ in engine or speed; speaker groups that are heard together have "
                        "to be measured in one state of the bike");
    if (first.state.volumeStep != other.state.volumeStep)
        return refuse(names
                      + " differ in the volume step, so their levels cannot be set against each "
                        "other; measure the speaker groups at one volume");
    if (first.sampleRate != other.sampleRate)
        return refuse(names + " have two sample rates; measure the speaker groups at one rate");
    if (first.hasCalibration != other.hasCalibration)
        return refuse(names
                      + ": one is calibrated and the other is not, so their levels cannot be set "
                        "against each other; measure both with the calibration or both without");
    return {};
}

/** Seconds by the recorder's clock from the recording's start to the arrival frame. */
double recorderSeconds(const Response& response)
{
    return response.arrivalSeconds * (1.0 + 1e-6 * response.clockPpm);
}

dsp::Result<std::vector<double>> timesInOneRecording(const std::vector<Response>& states)
{
    const Response& first = states.front();
    double meanPpm = 0.0;
    for (const Response& state : states) {
        if (state.recordingChecksum.empty() || state.recordingChecksum != first.recordingChecksum
            || !state.trackStartSeconds || state.arrivalSeconds <= 0.0)
            return dsp::fail(
                dsp::ErrorCode::notTrustworthy,
                "nobody knows when the sound of '" + state.name + "' arrives against that of '"
                    + (&state == &first ? states[1].name : first.name)
                    + "': play the groups' tracks from one file, record them in one recording and "
                      "measure each with --track-start, or ask for the estimate that adds powers");
        meanPpm += state.clockPpm / static_cast<double>(states.size());
    }
    // The tracks' clock as one part tells it would be off by minutes times its error at the
    // others' place: the recorder's own time is compared, and brought to the tracks' at the end.
    std::vector<double> laterSeconds;
    for (const Response& state : states)
        laterSeconds.push_back((recorderSeconds(state) - recorderSeconds(first))
                                   / (1.0 + 1e-6 * meanPpm)
                               - (*state.trackStartSeconds - *first.trackStartSeconds));
    const double earliest = *std::ranges::min_element(laterSeconds);
    for (double& later : laterSeconds)
        later -= earliest;
    // Sound needs 0.1 s for 34 m; more than that is a wrong start of a track.
    constexpr double longestSeconds = 0.1;
    const auto latest = std::ranges::max_element(laterSeconds);
    if (*latest > longestSeconds)
        return dsp::fail(
            dsp::ErrorCode::notTrustworthy,
            "'" + states[static_cast<std::size_t>(latest - laterSeconds.begin())].name
                + "' would arrive " + std::to_string(std::lround(1000.0 * *latest))
                + " ms after another group, farther than any speaker of a bike; check the "
                  "--track-start of the states");
    return laterSeconds;
}

/** Power of each bin. */
std::vector<double> powersOf(std::span<const double> impulse, dsp::RealFft<double>& fft)
{
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(impulse, fft.time().begin());
    fft.forward();
    std::vector<double> powers;
    powers.reserve(fft.numBins());
    for (const std::complex<double>& value : fft.spectrum())
        powers.push_back(std::norm(value));
    return powers;
}

/** Impulses of the groups, one below the other in time. */
std::vector<std::vector<double>> placedImpulses(const GroupedStates& groups,
                                                std::span<const std::vector<float>> impulses,
                                                std::size_t arrivalFrame)
{
    constexpr double longestSeconds = 10.0; // of a response
    constexpr std::size_t room = dsp::fractionalDelayTaps;
    const double rate = groups.states.front().sampleRate;
    std::vector<double> delays;
    std::size_t numFrames = 0;
    for (std::size_t index = 0; index < impulses.size(); ++index) {
        delays.push_back(static_cast<double>(arrivalFrame - groups.states[index].arrivalFrame)
                         + groups.laterSeconds[index] * rate);
        numFrames =
            std::max(numFrames, impulses[index].size()
                                    + static_cast<std::size_t>(std::ceil(delays.back())) + room);
    }
    numFrames = std::min(numFrames, static_cast<std::size_t>(longestSeconds * rate));
    std::vector<std::vector<double>> placed;
    for (std::size_t index = 0; index < impulses.size(); ++index) {
        std::vector<double> taps(numFrames, 0.0);
        std::copy_n(impulses[index].begin(), std::min(numFrames, impulses[index].size()),
                    taps.begin());
        dsp::delaySamplesInPlace(delays[index], taps);
        placed.push_back(std::move(taps));
    }
    return placed;
}

/** Level and trust of the bands that all states have; powers: of the groups as they are now, of the
    states as they were measured, and of the sum. */
std::vector<BandConfidence> bandsOfGroups(const GroupedStates& groups,
                                          const std::vector<std::vector<double>>& now,
                                          const std::vector<std::vector<double>>& measured,
                                          const std::vector<double>& sum, double binHz)
{
    const double half = std::pow(10.0, 0.05); // IEC 61260-1, third octave
    std::vector<BandConfidence> bands;
    for (const BandConfidence& of : groups.states.front().bands) {
        const std::array<dsp::Band, 1> only {
            dsp::Band {of.frequencyHz, of.frequencyHz / half, of.frequencyHz * half}};
        const auto powerIn = [&](const std::vector<double>& powers) {
            return std::max(dsp::bandPowers(powers, binHz, only).front(), 1e-30);
        };
        const double whole = powerIn(sum);
        std::vector<double> shares;
        double total = 0.0;
        double levels = 0.0;
        BandConfidence band;
        band.frequencyHz = of.frequencyHz;
        band.snrDb = 400.0;
        band.trusted = true;
        bool isInAll = true;
        for (std::size_t index = 0; index < groups.states.size(); ++index) {
            const BandConfidence* const own = bandAt(groups.states[index], of.frequencyHz);
            if (own == nullptr) {
                isInAll = false;
                break;
            }
            shares.push_back(powerIn(now[index]));
            total += shares.back();
            levels += dsp::dbToPower(own->levelDb) * shares.back() / powerIn(measured[index]);
        }
        if (!isInAll)
            continue;
        double variance = 0.0;
        double interval = 0.0;
        double spread = 0.0;
        for (std::size_t index = 0; index < shares.size(); ++index) {
            const BandConfidence& own = *bandAt(groups.states[index], of.frequencyHz);
            if (shares[index] >= leastShare * total) {
                band.trusted = band.trusted && own.trusted;
                band.snrDb = std::min(band.snrDb, own.snrDb);
            }
            // An error in dB is one in proportion: of amplitudes where these are added, of powers
            // where those are.
            const double share = shares[index] / whole;
            const double weight = groups.sum == GroupSum::timed ? share : share * share;
            variance += weight * own.uncertaintyDb * own.uncertaintyDb;
            interval += weight * own.interval95Db * own.interval95Db;
            spread += weight * own.spreadDb * own.spreadDb;
        }
        band.levelDb = dsp::powerToDb(levels) + dsp::powerToDb(whole / total);
        band.uncertaintyDb = std::min(std::sqrt(variance), largestUncertaintyDb);
        band.interval95Db = std::min(std::sqrt(interval), largestUncertaintyDb);
        band.spreadDb = std::min(std::sqrt(spread), largestUncertaintyDb);
        bands.push_back(band);
    }
    return bands;
}

} // namespace

std::string_view groupSumName(GroupSum sum) noexcept
{
    return sum == GroupSum::power ? "power" : "timed";
}

std::optional<GroupSum> parseGroupSum(std::string_view name) noexcept
{
    for (const GroupSum sum : allGroupSums)
        if (groupSumName(sum) == name)
            return sum;
    return {};
}

SpeakerGroup GroupedStates::speakers() const noexcept
{
    SpeakerSet together = 0;
    for (const Response& state : states)
        together |= speakersOf(state.state.speakers);
    return groupOf(together);
}

std::string GroupedStates::words() const
{
    std::string words;
    for (std::size_t index = 0; index < states.size(); ++index) {
        if (index > 0)
            words += index + 1 == states.size() ? " and " : ", ";
        words += speakerGroupWords(states[index].state.speakers);
    }
    return words;
}

dsp::Result<std::shared_ptr<const GroupedStates>> groupStates(std::vector<Response> states,
                                                              GroupSum sum)
{
    if (states.size() < 2)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "a candidate of several speaker groups needs at least two states");
    for (std::size_t index = 0; index < states.size(); ++index) {
        if (states[index].impulse.empty())
            return dsp::fail(dsp::ErrorCode::malformed,
                             "'" + states[index].name
                                 + "' has no impulse response; measure the state with a sweep");
        for (std::size_t other = 0; other < index; ++other)
            if ((speakersOf(states[index].state.speakers)
                 & speakersOf(states[other].state.speakers))
                != 0)
                return dsp::fail(dsp::ErrorCode::notTrustworthy,
                                 "some speakers play in both "
                                     + namesOf(states[other], states[index]) + " ("
                                     + speakerGroupWords(states[other].state.speakers) + ", "
                                     + speakerGroupWords(states[index].state.speakers)
                                     + ") and would be heard twice; give each speaker group once, "
                                       "and measure with --speakers so that a state knows its own");
        if (index > 0)
            if (const auto fits = checkBeside(states.front(), states[index]); !fits)
                return fits.unexpected();
    }
    auto groups = std::make_shared<GroupedStates>();
    groups->sum = sum;
    groups->laterSeconds.assign(states.size(), 0.0);
    if (sum == GroupSum::timed) {
        auto times = timesInOneRecording(states);
        if (!times)
            return times.unexpected();
        groups->laterSeconds = *std::move(times);
    }
    if (const Calibration common = states.front().calibration; states.front().hasCalibration)
        for (Response& state : states) {
            const double changeDb =
                state.calibration.splAtFullScaleDb() - common.splAtFullScaleDb();
            if (changeDb == 0.0)
                continue;
            for (float& tap : state.impulse)
                tap *= static_cast<float>(dsp::dbToAmplitude(changeDb));
            for (BandConfidence& band : state.bands)
                band.levelDb += changeDb;
            state.calibration = common;
        }
    groups->states = std::move(states);
    return std::shared_ptr<const GroupedStates>(std::move(groups));
}

std::vector<double> sumOfPowers(std::span<const std::vector<double>> impulses, double sampleRate)
{
    assert(!impulses.empty());
    const std::vector<double>& first = impulses.front();
    if (impulses.size() == 1)
        return first;
    std::vector<double> frequenciesHz;
    for (std::size_t bin = 0; bin <= filterBins; ++bin)
        frequenciesHz.push_back(std::clamp(0.5 * sampleRate * static_cast<double>(bin)
                                               / static_cast<double>(filterBins),
                                           lowestHz, 0.45 * sampleRate));
    std::vector<double> power(frequenciesHz.size(), 0.0);
    std::vector<double> firstDb;
    for (const std::vector<double>& impulse : impulses) {
        Response response;
        response.sampleRate = sampleRate;
        response.impulse.assign(impulse.begin(), impulse.end());
        const auto levelsDb = response.magnitudeDb(frequenciesHz, smoothingPerOctave);
        for (std::size_t bin = 0; bin < power.size(); ++bin)
            power[bin] += dsp::dbToPower(levelsDb[bin]);
        if (firstDb.empty())
            firstDb = levelsDb;
    }
    std::vector<double> magnitude;
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        magnitude.push_back(dsp::dbToAmplitude(dsp::powerToDb(power[bin]) - firstDb[bin]));
    const auto filtered = dsp::convolve(first, dsp::minimumPhaseImpulse(magnitude));
    return {filtered.begin(), filtered.begin() + static_cast<std::ptrdiff_t>(first.size())};
}

Response responseOfGroups(const GroupedStates& groups, std::span<const std::vector<float>> impulses)
{
    assert(impulses.size() == groups.states.size());
    const Response& first = groups.states.front();
    Response together;
    together.state = first.state;
    together.state.speakers = groups.speakers();
    together.sampleRate = first.sampleRate;
    together.fromHz = first.fromHz;
    together.toHz = first.toHz;
    together.snrDb = first.snrDb;
    together.numTakes = first.numTakes;
    together.hasCalibration = first.hasCalibration;
    together.calibration = first.calibration;
    together.clockPpm = first.clockPpm;
    for (const Response& state : groups.states) {
        together.name += (together.name.empty() ? "" : " + ") + state.name;
        together.invented = together.invented || state.invented;
        together.arrivalFrame = std::max(together.arrivalFrame, state.arrivalFrame);
        together.fromHz = std::max(together.fromHz, state.fromHz);
        together.toHz = std::min(together.toHz, state.toHz);
        together.snrDb = std::min(together.snrDb, state.snrDb);
        together.numTakes = std::min(together.numTakes, state.numTakes);
        for (const std::string& remark : state.remarks)
            if (std::ranges::find(together.remarks, remark) == together.remarks.end())
                together.remarks.push_back(remark);
    }
    together.remarks.push_back(
        groups.sum == GroupSum::timed
            ? "Put together from " + groups.words()
                  + ", which were measured one by one in one recording."
            : "An estimate: " + groups.words()
                  + " were measured one by one and added in power, as nobody knows when each of "
                    "them arrives; how they cancel or strengthen each other is not in it.");

    const auto placed = placedImpulses(groups, impulses, together.arrivalFrame);
    std::vector<double> sum(placed.front().size(), 0.0);
    if (groups.sum == GroupSum::timed)
        for (const auto& taps : placed)
            std::ranges::transform(sum, taps, sum.begin(), std::plus<> {});
    else
        sum = sumOfPowers(placed, together.sampleRate);
    together.impulse.assign(sum.begin(), sum.end());

    std::size_t longest = sum.size();
    for (const Response& state : groups.states)
        longest = std::max(longest, state.impulse.size());
    dsp::RealFft<double> fft(dsp::fastFftSize(longest));
    std::vector<std::vector<double>> now;
    std::vector<std::vector<double>> measured;
    for (std::size_t index = 0; index < placed.size(); ++index) {
        now.push_back(powersOf(placed[index], fft));
        const auto& impulse = groups.states[index].impulse;
        measured.push_back(powersOf(std::vector<double>(impulse.begin(), impulse.end()), fft));
    }
    together.bands = bandsOfGroups(groups, now, measured, powersOf(sum, fft),
                                   together.sampleRate / static_cast<double>(fft.size()));
    return together;
}

Response responseOfGroups(const GroupedStates& groups)
{
    std::vector<std::vector<float>> impulses;
    for (const Response& state : groups.states)
        impulses.push_back(state.impulse);
    return responseOfGroups(groups, impulses);
}

} // namespace saddletone::measure
