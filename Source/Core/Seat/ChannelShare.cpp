#include "Core/Seat/ChannelShare.h"

#include "Core/Dsp/AnalogueSection.h"
#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Core/Dsp/Units.h"

#include <numbers>

namespace saddletone::seat {

namespace {

/** Where the sound of both sides stops adding up in phase at an ear: a quarter of a period of what
    the ears' arrivals differ by, 0.28 ms from the front and 0.36 ms from the rear (3 r/c sin(angle)
    of the default places), is 890 and 690 Hz; the middle of the shelf lies somewhat lower. */
constexpr double coherentBelowHz = 600.0;

/** gain above the shelf and once more below it. */
void applyTwice(double gain, double sampleRate, std::span<double> taps)
{
    for (double& tap : taps)
        tap *= gain;
    dsp::filterInPlace(
        dsp::bilinearBiquad(dsp::analogueLowShelf(coherentBelowHz, std::numbers::sqrt2 / 2.0,
                                                  dsp::amplitudeToDb(gain)),
                            sampleRate),
        taps);
}

} // namespace

void shareOfWholeInPlace(double sampleRate, std::span<double> taps)
{
    applyTwice(std::numbers::sqrt2 / 2.0, sampleRate, taps);
}

void wholeOfShareInPlace(double sampleRate, std::span<double> taps)
{
    applyTwice(std::numbers::sqrt2, sampleRate, taps);
}

} // namespace saddletone::seat
