#include "Core/Ride/RideLevels.h"

#include "Core/Dsp/Weighting.h"

#include <array>
#include <cmath>

namespace saddletone::ride {

namespace {

double weightingPower(double frequencyHz) noexcept
{
    return dsp::dbToPower(dsp::weightingDb(dsp::Weighting::a, frequencyHz));
}

/** What a helmet takes from the A-weighted level of tyre noise. */
double tyreLossDb(Helmet helmet) noexcept
{
    constexpr double lowestHz = 20.0;
    constexpr double pointsPerOctave = 6.0;
    constexpr int numPoints = 60;
    double outside = 0.0;
    double inside = 0.0;
    for (int point = 0; point < numPoints; ++point) {
        const double frequencyHz = lowestHz * std::exp2((point + 0.5) / pointsPerOctave);
        const double power =
            dsp::dbToPower(tyreDensityDb(frequencyHz)) * frequencyHz * weightingPower(frequencyHz);
        outside += power;
        inside += power * dsp::dbToPower(-insertionLossDb(helmet, frequencyHz));
    }
    return dsp::powerToDb(outside / inside);
}

/** The same of the engine's lines, which engineDba scales. */
double engineLossDb(const RideParameters& ride, double rpm) noexcept
{
    constexpr double topHz = 24000.0;
    std::array<double, numHalfOrders> amplitudes {};
    enginePulseAmplitudes(ride.engine, rpm, topHz, amplitudes);
    double outside = 0.0;
    double inside = 0.0;
    for (std::size_t index = 0; index < amplitudes.size(); ++index) {
        const double frequencyHz = halfOrderHz(index + 1, rpm);
        const double line = amplitudes[index] * ride.engine.firing.combWeight(index + 1);
        if (line == 0.0)
            continue;
        const double power = line * line * weightingPower(frequencyHz);
        outside += power;
        inside += power * dsp::dbToPower(-insertionLossDb(ride.helmet, frequencyHz));
    }
    return inside > 0.0 ? dsp::powerToDb(outside / inside) : 0.0;
}

} // namespace

RideLevels rideLevels(const RideParameters& parameters) noexcept
{
    const RideParameters ride = withinRange(parameters);
    const RideState state = rideState(ride);
    RideLevels levels;
    if (state.windDba > dsp::silenceDb)
        levels.windDba = state.windDba - state.plugLossDb;
    if (state.tyreDba > dsp::silenceDb)
        levels.tyreDba = state.tyreDba - tyreLossDb(ride.helmet) - state.plugLossDb;
    if (state.treadToneDba > dsp::silenceDb)
        levels.tyreDba = dsp::powerToDb(
            dsp::dbToPower(levels.tyreDba)
            + dsp::dbToPower(state.treadToneDba - insertionLossDb(ride.helmet, state.treadToneHz)
                             - state.plugLossDb));
    if (state.engineDba > dsp::silenceDb)
        levels.engineDba = state.engineDba - engineLossDb(ride, state.rpm) - state.plugLossDb;
    double power = 0.0;
    for (const double levelDba : {levels.windDba, levels.tyreDba, levels.engineDba})
        if (levelDba > dsp::silenceDb)
            power += dsp::dbToPower(levelDba);
    levels.totalDba = dsp::powerToDb(power);
    return levels;
}

double levelDbfsA(const NoiseState& state) noexcept
{
    double power = 0.0;
    for (std::size_t band = 0; band < numNoiseBands; ++band) {
        const double centreHz = std::sqrt(noiseBandEdgeHz(band) * noiseBandEdgeHz(band + 1));
        double ears = 0.0;
        for (const auto& levels : state.noiseDbfs)
            ears += 0.5 * dsp::dbToPower(levels[band]);
        power += ears * weightingPower(centreHz);
    }
    for (std::size_t index = 0; index < state.numTones; ++index) {
        const NoiseTone& tone = state.tones[index];
        power += 0.5 * (dsp::dbToPower(tone.levelsDbfs[0]) + dsp::dbToPower(tone.levelsDbfs[1]))
                 * weightingPower(tone.frequencyHz);
    }
    return dsp::powerToDb(power);
}

} // namespace saddletone::ride
