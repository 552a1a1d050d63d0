#include "Core/Ride/RideFigures.h"

#include "Core/Files/TextTable.h"
#include "Core/Ride/EngineTone.h"
#include "Core/Ride/RideSpectrum.h"
#include "Core/Ride/WindGusts.h"
#include "Core/Ride/WindShape.h"

#include <string>
#include <utility>

namespace saddletone::ride {

namespace {

using dsp::FigureStatus;

constexpr const char* binnington =
    "Binnington, McCombe and Harris, Br. J. Audiol. 27(6):415-422, 1993";

std::string withUnit(double value, int decimals, const std::string& unit)
{
    return files::fixedText(value, decimals) + " " + unit;
}

std::string anglesText(const FiringPattern& firing)
{
    std::string text;
    for (const double angle : firing.angles())
        text += (text.empty() ? "" : ", ") + files::fixedText(angle, 0);
    return text + " degrees";
}

/** Collects figures. */
class Figures {
public:
    void judge(std::string name, std::string value, std::string leansOn)
    {
        list.push_back(
            {std::move(name), std::move(value), FigureStatus::judgement, std::move(leansOn)});
    }

    /** A figure with a source, as long as it is the source's. */
    void cite(std::string name, std::string value, std::string source, bool isAsSourced)
    {
        if (isAsSourced)
            list.push_back(
                {std::move(name), std::move(value), FigureStatus::sourced, std::move(source)});
        else
            judge(std::move(name), std::move(value), "changed by hand");
    }

    [[nodiscard]] std::vector<dsp::ModelFigure> take() { return std::move(list); }

private:
    std::vector<dsp::ModelFigure> list;
};

void addWind(Figures& figures, const WindModel& wind)
{
    constexpr WindModel sourced;
    figures.cite(
        "wind level under a full-face helmet",
        withUnit(wind.anchorDba, 1, "dB(A) at ") + withUnit(wind.anchorSpeedKmh, 1, "km/h"),
        binnington,
        wind.anchorDba == sourced.anchorDba && wind.anchorSpeedKmh == sourced.anchorSpeedKmh);
    figures.cite("wind level over speed",
                 withUnit(wind.slopeDbPerDecade, 1, "dB a decade of speed"),
                 std::string("fit to ") + binnington
                     + ", and McCombe, Binnington and Nash, Occup. Med. 44(5):239-242, 1994",
                 wind.slopeDbPerDecade == sourced.slopeDbPerDecade);
    figures.cite("bare head", withUnit(wind.bareHeadOffsetDb, 1, "dB re full face"),
                 std::string(binnington) + "; Harrison, US Forest Service, 1973",
                 wind.bareHeadOffsetDb == sourced.bareHeadOffsetDb);
    figures.judge("open-face helmet", withUnit(wind.openFaceOffsetDb, 1, "dB re full face"),
                  "Harrison 1973 saw no significant difference");
    figures.judge("spread from rider to rider and bike to bike",
                  withUnit(windSpreadDb, 1, "dB standard deviation"), "spread of the sources");
    figures.judge("wind spectrum",
                  "nine octaves at " + withUnit(WindShape::referenceSpeedKmh, 0, "km/h"),
                  "mostly low: McCombe, thesis, Edinburgh 1994; Kristiansen and Pettersen 1978");
    figures.judge("wind spectrum over speed", "in proportion to speed",
                  "constant Strouhal number; the level stays the model's");
    figures.judge("gusts",
                  withUnit(wind.gustDeviationDb, 1, "dB standard deviation, ")
                      + withUnit(wind.gustTimeSeconds, 1, "s integral time scale"),
                  "no source; mean power kept");
    figures.judge("low screen, edge wake on the helmet", withUnit(wind.lowScreenOffsetDb, 1, "dB"),
                  "that it is louder: Tangorra and George, IfZ 7:201-228, 1991; Proc. Meetings on "
                  "Acoustics 9:040005, 2010");
    figures.judge("beat of the edge wake",
                  withUnit(wind.wakeDepthDb, 1, "dB peak to trough, ")
                      + files::fixedText(WakeModulation::lowestHz, 0) + " to "
                      + withUnit(WakeModulation::highestHz, 0, "Hz"),
                  "no source; mean power kept");
    figures.judge("tall screen, head in the still pocket",
                  withUnit(wind.tallScreenOffsetDb, 1, "dB"), "no source; -4 to -15 dB");
    figures.judge("wind at both ears",
                  "coherence exp(-" + files::fixedText(wind.coherenceDecay, 2)
                      + " 2 pi f d / Uc), d " + withUnit(wind.earSpacingMetres, 2, "m, Uc ")
                      + files::fixedText(wind.convectionRatio, 2) + " of the road speed",
                  "form: Corcos, J. Acoust. Soc. Am. 35(2):192-199, 1963; wind at microphones: "
                  "Mirabilii and Habets, arXiv:1805.09679");
}

void addTyre(Figures& figures, const TyreModel& tyre)
{
    figures.cite("tyre noise peak", "third octaves of 800 to 1250 Hz",
                 "Sandberg, The multi-coincidence peak around 1000 Hz in tyre/road noise spectra",
                 true);
    figures.judge("tyre noise level at the head",
                  withUnit(tyre.anchorDba, 1, "dB(A) at ")
                      + withUnit(tyre.anchorSpeedKmh, 0, "km/h"),
                  "no source");
    figures.judge("tyre noise over speed",
                  withUnit(tyre.slopeDbPerDecade, 0, "dB a decade of speed"), "no source");
    figures.judge("tyre noise beside its peak",
                  withUnit(tyreFallBelowDbPerOctave, 0, "dB an octave below, ")
                      + withUnit(tyreFallAboveDbPerOctave, 0, "above"),
                  "no source");
    figures.judge("tread tone",
                  tyre.treadToneIsOn ? withUnit(tyre.treadToneDb, 0, "dB re tyre noise, pitch ")
                                           + withUnit(1000.0 * tyre.treadPitchMetres, 0, "mm")
                                     : "off",
                  "frequency is speed over pitch");
    figures.judge("tyre noise at both ears", "diffuse field, 0.15 m",
                  "formula: Cook et al., J. Acoust. Soc. Am. 27(6):1072-1077, 1955");
}

void addEngine(Figures& figures, const RideParameters& ride)
{
    const EngineModel& engine = ride.engine;
    const Drivetrain& drivetrain = ride.drivetrain;
    figures.cite("firing angles", anglesText(engine.firing),
                 "gaps follow from bank angle and crank pins; 45 degree twin 315/405 degrees",
                 true);
    figures.cite("weights of the half-orders", "|sum exp(j 2 pi k angle / 720)| / n",
                 "follows from equal pulses at the firing angles", true);
    figures.judge("engine level at the head",
                  withUnit(engine.cruiseDba, 1, "dB(A) cruising at ")
                      + withUnit(engine.cruiseSpeedKmh, 1, "km/h"),
                  std::string("crossover with wind at 20 to 40 mph: ") + binnington);
    figures.judge("engine level over its speed",
                  withUnit(engine.slopeDbPerDecade, 0, "dB a decade of rpm"), "no source");
    figures.judge("idle",
                  withUnit(engine.idleRpm, 0, "rpm, ") + withUnit(engine.idleDba, 1, "dB(A)"),
                  "no source");
    figures.judge("spectrum of a pulse",
                  "-6 dB an octave above order " + files::fixedText(engine.pulseCornerOrder, 1),
                  "no source");
    figures.judge("jitter of pulses",
                  withUnit(100.0 * engine.amplitudeJitter, 0, "% of size, ")
                      + withUnit(engine.timingJitterDegrees, 1, "degrees of the crank"),
                  "no source");
    figures.judge("gears and wheel",
                  "overall ratio in top gear "
                      + files::fixedText(drivetrain.primaryRatio * drivetrain.finalRatio
                                             * drivetrain.gearRatios[drivetrain.numGears - 1],
                                         2)
                      + ", radius " + withUnit(drivetrain.tyreRadiusMetres, 2, "m"),
                  "invented bike; enter the bike's own");
}

void addHead(Figures& figures, const RideParameters& ride)
{
    figures.cite("helmet loss above 500 Hz, full face", "7 dB at 1 kHz to 30 dB at 8 kHz",
                 "Mlynski et al., Int. J. Occup. Saf. Ergon. 15(3):287-293, 2009; Acta Acustica "
                 "united with Acustica, doi 10.3813/aaa.918679",
                 true);
    figures.judge("helmet gain below 500 Hz, full face", "up to 3 dB",
                  "sign: doi 10.3813/aaa.918679; Kennedy et al., 161st ASA, 2011");
    figures.judge("helmet loss, open face", "3 dB at 1 kHz to 18 dB at 8 kHz", "no source");
    figures.judge("ear plugs",
                  withUnit(ride.plugs.nominalLossDb, 0, "dB nominal, ")
                      + withUnit(ride.plugs.cautiousLossDb, 0, "dB cautious"),
                  "alike at all frequencies");
}

} // namespace

std::vector<dsp::ModelFigure> rideFigures(const RideParameters& parameters)
{
    const RideParameters ride = withinRange(parameters);
    Figures figures;
    addWind(figures, ride.wind);
    addTyre(figures, ride.tyre);
    addEngine(figures, ride);
    addHead(figures, ride);
    return figures.take();
}

} // namespace saddletone::ride
