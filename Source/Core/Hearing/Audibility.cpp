#include "Core/Hearing/Audibility.h"

#include "Core/Hearing/Masking.h"
#include "Core/Ride/RideSpectrum.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace saddletone::hearing {

namespace {

constexpr double stepCams = 0.1;
/** Steps of the ERB scale over the third octaves: 20 Hz to 20 kHz is 0.8 to 41.7 Cams. */
constexpr std::size_t numSteps = 410;

/** Value of a band curve at a step of the ERB scale: straight lines over it between mid-bands. */
class ErbScale {
public:
    ErbScale()
    {
        for (std::size_t band = 0; band < numThirdOctaves; ++band)
            bandCams[band] = erbNumber(thirdOctave(band).centreHz);
    }

    [[nodiscard]] double valueAt(std::span<const double> bands, std::size_t step) const
    {
        const double cams = bandCams.front() + stepCams * static_cast<double>(step);
        if (cams >= bandCams.back())
            return bands.back();
        const auto above =
            static_cast<std::size_t>(std::ranges::upper_bound(bandCams, cams) - bandCams.begin());
        const double share = (cams - bandCams[above - 1]) / (bandCams[above] - bandCams[above - 1]);
        return bands[above - 1] + share * (bands[above] - bands[above - 1]);
    }

    /** Width of a band on the scale. */
    [[nodiscard]] static double widthCams(std::size_t band)
    {
        const dsp::Band limits = thirdOctave(band);
        return erbNumber(limits.upperHz) - erbNumber(limits.lowerHz);
    }

private:
    std::array<double, numThirdOctaves> bandCams {};
};

using BandValues = std::array<double, numThirdOctaves>;

BandValues differences(const ThirdOctaveSpectrum& programme, const ThirdOctaveSpectrum& threshold)
{
    BandValues values {};
    for (std::size_t band = 0; band < numThirdOctaves; ++band)
        values[band] = programme.levelsDb[band] - threshold.levelsDb[band];
    return values;
}

/** How far the programme stands above its masked threshold at each step of the scale in which it is
    heard in quiet, highest first. */
std::vector<double> heightsAbove(const BandValues& aboveNoiseDb, const BandValues& aboveQuietDb)
{
    const ErbScale scale;
    std::vector<double> heights;
    heights.reserve(numSteps);
    for (std::size_t step = 0; step < numSteps; ++step)
        if (scale.valueAt(aboveQuietDb, step) >= 0.0)
            heights.push_back(scale.valueAt(aboveNoiseDb, step));
    std::ranges::sort(heights, std::greater {});
    return heights;
}

double shareFrom(const std::vector<double>& heights, double marginDb)
{
    if (heights.empty())
        return 0.0;
    const auto heard =
        std::ranges::count_if(heights, [marginDb](double height) { return height >= marginDb; });
    return static_cast<double>(heard) / static_cast<double>(heights.size());
}

/** Gives the bands that are cheapest to lift what they need, until they make up the share. */
void chooseGains(std::array<BandAudibility, numThirdOctaves>& bands, const AudibilityGoal& goal)
{
    std::vector<std::size_t> order;
    double wholeCams = 0.0;
    for (std::size_t band = 0; band < numThirdOctaves; ++band)
        if (bands[band].inProgramme) {
            order.push_back(band);
            wholeCams += ErbScale::widthCams(band);
        }
    std::ranges::sort(order, [&bands](std::size_t first, std::size_t second) {
        return bands[first].aboveDb > bands[second].aboveDb;
    });
    double doneCams = 0.0;
    for (const std::size_t band : order) {
        // Rounding of the sum may not call for another band.
        if (doneCams >= goal.share * wholeCams - 1e-9)
            break;
        bands[band].gainNeededDb = std::max(0.0, goal.marginDb - bands[band].aboveDb);
        doneCams += ErbScale::widthCams(band);
    }
}

} // namespace

Audibility assessAudibility(const AudibilityRequest& request)
{
    const auto threshold = maskedThreshold(request.noise, request.earPlugDb);
    const auto quiet = maskedThreshold(ThirdOctaveSpectrum {}, request.earPlugDb);
    const BandValues aboveNoise = differences(request.programme, threshold);
    const BandValues aboveQuiet = differences(request.programme, quiet);

    Audibility audibility;
    for (std::size_t band = 0; band < numThirdOctaves; ++band) {
        BandAudibility& result = audibility.bands[band];
        result.frequencyHz = thirdOctave(band).centreHz;
        result.programmeDb = request.programme.levelsDb[band];
        result.noiseDb = request.noise.levelsDb[band];
        result.thresholdDb = threshold.levelsDb[band];
        result.aboveDb = aboveNoise[band];
        result.inProgramme = aboveQuiet[band] >= 0.0;
    }
    chooseGains(audibility.bands, request.goal);

    const auto heights = heightsAbove(aboveNoise, aboveQuiet);
    audibility.shareOfScale = shareFrom(heights, 0.0);
    audibility.shareAtMargin = shareFrom(heights, request.goal.marginDb);
    if (!heights.empty()) {
        const auto wanted =
            std::clamp(static_cast<std::size_t>(std::ceil(
                           request.goal.share * static_cast<double>(heights.size()) - 1e-9)),
                       std::size_t {1}, heights.size());
        audibility.overallGainDb = request.goal.marginDb - heights[wanted - 1];
    }
    audibility.loudness = partialLoudness(request.programme.raisedBy(-request.earPlugDb),
                                          request.noise.raisedBy(-request.earPlugDb));
    return audibility;
}

double audibleShare(const ThirdOctaveSpectrum& programme, const ThirdOctaveSpectrum& noise,
                    double earPlugDb, double marginDb)
{
    return shareFrom(
        heightsAbove(differences(programme, maskedThreshold(noise, earPlugDb)),
                     differences(programme, maskedThreshold(ThirdOctaveSpectrum {}, earPlugDb))),
        marginDb);
}

SpeechIntelligibility speechInRide(const ThirdOctaveSpectrum& speech,
                                   const ThirdOctaveSpectrum& noise, double earPlugDb) noexcept
{
    constexpr double noNoiseDb = -50.0; // ANSI S3.5-1997
    SpeechInNoise scene;
    scene.speechDb = speechBands(speech.raisedBy(-earPlugDb));
    scene.noiseDb = speechBands(noise.raisedBy(-earPlugDb));
    for (std::size_t band = 0; band < numSpeechBands; ++band) {
        scene.speechDb[band] = std::max(scene.speechDb[band], noNoiseDb);
        scene.noiseDb[band] = std::max(scene.noiseDb[band], noNoiseDb);
    }
    scene.listening = Listening::bothEars;
    return speechIntelligibility(scene);
}

std::optional<double> drowningSpeedKmh(const ThirdOctaveSpectrum& programme,
                                       const NoiseAtSpeed& noise, double earPlugDb,
                                       const AudibilityGoal& goal)
{
    const auto met = [&](double speedKmh) {
        return audibleShare(programme, noise(speedKmh), earPlugDb, goal.marginDb) >= goal.share;
    };
    double slow = 5.0;
    double fast = 300.0;
    if (!met(slow))
        return 0.0;
    if (met(fast))
        return std::nullopt;
    constexpr double precisionKmh = 0.1;
    while (fast - slow > precisionKmh) {
        const double middle = std::midpoint(slow, fast);
        (met(middle) ? slow : fast) = middle;
    }
    return std::midpoint(slow, fast);
}

double powerRatio(double gainDb) noexcept
{
    return dsp::dbToPower(gainDb);
}

double powerRatio(const ThirdOctaveSpectrum& playedDbfs, std::span<const double> gainsDb) noexcept
{
    double before = 0.0;
    double after = 0.0;
    for (std::size_t band = 0; band < std::min(numThirdOctaves, gainsDb.size()); ++band)
        if (playedDbfs.levelsDb[band] > dsp::silenceDb) {
            before += dsp::dbToPower(playedDbfs.levelsDb[band]);
            after += dsp::dbToPower(playedDbfs.levelsDb[band] + gainsDb[band]);
        }
    return before > 0.0 ? after / before : 1.0;
}

double SpeakerPower::wattsEach(double levelDb) const noexcept
{
    return dsp::dbToPower(levelDb - sensitivityDb) * distanceMetres * distanceMetres / numSpeakers;
}

std::vector<dsp::ModelFigure> hearingFigures()
{
    using enum dsp::FigureStatus;
    return {
        {"spread of masking", "-80 + 0.6 dB/octave and dB of band level", sourced,
         "ANSI S3.5-1997"},
        {"spread of masking below 160 Hz and above 8 kHz", "the same rule", judgement,
         "the standard has bands from 160 Hz to 8 kHz"},
        {"slopes at band levels above 133 dB", "no loss", judgement,
         "the standard's rule would rise with distance"},
        {"threshold in quiet", "-6 to 78.5 dB SPL, 20 Hz to 12.5 kHz", sourced, "ISO 226:2003"},
        {"threshold in quiet, 16 kHz", "40.2 dB SPL", sourced, "ISO 389-7:2019"},
        {"threshold in quiet, 20 kHz", "70.4 dB SPL", judgement,
         "value of ISO 389-7:2019 for 18 kHz"},
        {"signal to noise at the masked threshold", "0 dB in the band", judgement,
         "programme as strong as what masks it; tones -3 dB above 1 kHz by Moore, Glasberg and "
         "Baer 1997"},
        {"speech intelligibility", "third-octave procedure", sourced, "ANSI S3.5-1997"},
        {"loudness in quiet", "stationary sounds", sourced, "ISO 532-1:2017"},
        {"partial loudness", "excitation patterns", sourced,
         "Moore, Glasberg and Baer, JAES 45(4), 1997; constants of ANSI S3.4-2007"},
        {"weight of the share that is heard", "steps of 0.1 Cam, all alike", judgement,
         "scale: Glasberg and Moore 1990"},
        {"goal", "80 % of the scale at the masked threshold", judgement,
         "a starting point; set it for the customer"},
        {"exposure limit", "85 dB(A) for 8 h, 3 dB halves the time", sourced,
         "NIOSH publication 98-126, 1998"},
    };
}

ThirdOctaveSpectrum rideNoiseSpectrum(const ride::RideParameters& parameters)
{
    ride::RideParameters bareEars = parameters;
    bareEars.earPlugs = ride::EarPlugs::none;
    const auto ride = ride::rideSpectrum(bareEars);
    // Below this nothing of it is sound: a source that is off.
    constexpr double nothingDb = -200.0;
    ThirdOctaveSpectrum spectrum;
    for (std::size_t band = 0; band < std::min(numThirdOctaves, ride.totalDb.size()); ++band)
        if (ride.totalDb[band] > nothingDb)
            spectrum.levelsDb[band] = ride.totalDb[band];
    return spectrum;
}

} // namespace saddletone::hearing
