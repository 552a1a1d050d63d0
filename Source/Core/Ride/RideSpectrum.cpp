#include "Core/Ride/RideSpectrum.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"
#include "Core/Ride/WindShape.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace saddletone::ride {

namespace {

/** Power of a source, gathered by band and by weighting. */
class Gathering {
public:
    explicit Gathering(const std::vector<dsp::Band>& thirdOctaves)
        : bands(thirdOctaves), bandPower(thirdOctaves.size())
    {
    }

    void add(double frequencyHz, double power)
    {
        aPower += power * dsp::dbToPower(dsp::weightingDb(dsp::Weighting::a, frequencyHz));
        cPower += power * dsp::dbToPower(dsp::weightingDb(dsp::Weighting::c, frequencyHz));
        const auto band = std::ranges::find_if(bands, [frequencyHz](const dsp::Band& candidate) {
            return frequencyHz >= candidate.lowerHz && frequencyHz < candidate.upperHz;
        });
        if (band != bands.end())
            bandPower[static_cast<std::size_t>(band - bands.begin())] += power;
    }

    void add(const Gathering& other)
    {
        aPower += other.aPower;
        cPower += other.cPower;
        std::ranges::transform(bandPower, other.bandPower, bandPower.begin(), std::plus {});
    }

    [[nodiscard]] std::vector<double> levelsDb() const
    {
        std::vector<double> levels;
        std::ranges::transform(bandPower, std::back_inserter(levels), dsp::powerToDb);
        return levels;
    }
    [[nodiscard]] double dba() const { return dsp::powerToDb(aPower); }
    [[nodiscard]] double dbc() const { return dsp::powerToDb(cPower); }

private:
    const std::vector<dsp::Band>& bands;
    std::vector<double> bandPower;
    double aPower = 0.0;
    double cPower = 0.0;
};

/** Adds a density in dB, scaled to an A-weighted level, after a loss in dB that depends on
    frequency and does not count in the scaling. */
template <typename Density, typename Loss>
void addDensity(Gathering& gathering, double levelDba, Density&& densityDb, Loss&& lossDb)
{
    if (levelDba <= dsp::silenceDb)
        return;
    // 48 points an octave from 4 Hz to 24 kHz, none of them at the edge of a third octave.
    constexpr double pointsPerOctave = 48.0;
    constexpr double lowestHz = 4.03;
    constexpr double highestHz = 24000.0;
    struct Point {
        double frequencyHz;
        double power;
    };
    std::vector<Point> points;
    double weighted = 0.0;
    for (double octave = 0.0;; octave += 1.0 / pointsPerOctave) {
        const double frequencyHz = lowestHz * std::exp2(octave);
        if (frequencyHz > highestHz)
            break;
        const double power = dsp::dbToPower(densityDb(frequencyHz)) * frequencyHz
                             * std::numbers::ln2 / pointsPerOctave;
        weighted += power * dsp::dbToPower(dsp::weightingDb(dsp::Weighting::a, frequencyHz));
        points.push_back({frequencyHz, power});
    }
    for (const Point& point : points)
        gathering.add(point.frequencyHz,
                      point.power / weighted
                          * dsp::dbToPower(levelDba - lossDb(point.frequencyHz)));
}

} // namespace

double tyreEarCoherence(double frequencyHz) noexcept
{
    constexpr double speedOfSound = 343.0;
    constexpr double earSpacingMetres = 0.15;
    const double x = 2.0 * std::numbers::pi * frequencyHz * earSpacingMetres / speedOfSound;
    return x > 1e-6 ? std::sin(x) / x : 1.0;
}

RideSpectrum rideSpectrum(const RideParameters& parameters)
{
    const RideParameters ride = withinRange(parameters);
    const RideState state = rideState(ride);
    const std::vector<dsp::Band> bands = dsp::thirdOctaveBands();
    const auto plugs = [&state](double) { return state.plugLossDb; };
    const auto helmetAndPlugs = [&](double frequencyHz) {
        return insertionLossDb(ride.helmet, frequencyHz) + state.plugLossDb;
    };

    Gathering wind(bands);
    const WindShape shape(ride.helmet);
    addDensity(
        wind, state.windDba,
        [&](double frequencyHz) { return shape.densityDb(ride.speedKmh, frequencyHz); }, plugs);

    Gathering tyre(bands);
    addDensity(tyre, state.tyreDba, tyreDensityDb, helmetAndPlugs);
    if (state.treadToneDba > dsp::silenceDb)
        tyre.add(state.treadToneHz,
                 dsp::dbToPower(state.treadToneDba
                                - dsp::weightingDb(dsp::Weighting::a, state.treadToneHz)
                                - helmetAndPlugs(state.treadToneHz)));

    Gathering engine(bands);
    if (state.engineDba > dsp::silenceDb) {
        std::array<double, numHalfOrders> amplitudes {};
        enginePulseAmplitudes(ride.engine, state.rpm, 24000.0, amplitudes);
        for (std::size_t index = 0; index < amplitudes.size(); ++index) {
            const double frequencyHz = halfOrderHz(index + 1, state.rpm);
            const double line = amplitudes[index] * ride.engine.firing.combWeight(index + 1)
                                * static_cast<double>(ride.engine.firing.numCylinders);
            // A sine of amplitude 1 is 0 dBFS.
            engine.add(frequencyHz,
                       line * line * dsp::dbToPower(state.engineDba - helmetAndPlugs(frequencyHz)));
        }
    }

    RideSpectrum result;
    std::ranges::transform(bands, std::back_inserter(result.frequencyHz), &dsp::Band::centreHz);
    result.windDb = wind.levelsDb();
    result.tyreDb = tyre.levelsDb();
    result.engineDb = engine.levelsDb();
    result.windDba = wind.dba();
    result.tyreDba = tyre.dba();
    result.engineDba = engine.dba();
    Gathering total = wind;
    total.add(tyre);
    total.add(engine);
    result.totalDb = total.levelsDb();
    result.totalDba = total.dba();
    result.totalDbc = total.dbc();
    return result;
}

} // namespace saddletone::ride
