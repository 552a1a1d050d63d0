#include "Core/Tuning/Tuning.h"

#include "Core/Dsp/FractionalDelay.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/SpeakerSet.h"

#include <algorithm>
#include <numbers>

namespace saddletone::tuning {

namespace {

template <typename Visit>
void forEachElement(const Tuning& tuning, OutputGroup output, Visit&& visit)
{
    for (const Chain& chain : tuning.chains)
        if (covers(chain.group, output))
            for (const Element& element : chain.elements)
                visit(element);
}

} // namespace

bool covers(OutputGroup chain, OutputGroup output) noexcept
{
    return (measure::speakersOf(output) & ~measure::speakersOf(chain)) == 0;
}

std::complex<double> DesignedTuning::response(double frequencyHz) const noexcept
{
    std::complex<double> product =
        std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz / sampleRate * delaySamples)
        * gainLinear;
    for (const dsp::BiquadCoefficients& section : sections)
        product *= section.response(frequencyHz, sampleRate);
    return product;
}

DesignedTuning designTuning(const Tuning& tuning, OutputGroup output, double sampleRate)
{
    DesignedTuning designed;
    designed.sampleRate = sampleRate;
    forEachElement(tuning, output, [&](const Element& element) {
        switch (element.type) {
        case ElementType::gain: designed.gainLinear *= dsp::dbToAmplitude(element.gainDb); break;
        case ElementType::polarity: designed.gainLinear = -designed.gainLinear; break;
        case ElementType::delay:
            designed.delaySamples += 0.001 * element.delayMs * sampleRate;
            break;
        case ElementType::limiter: break;
        default:
            for (const dsp::AnalogueSection& section : analogueSections(element)) {
                const auto biquads = dsp::matchedBiquads(section, sampleRate);
                if (element.type == ElementType::lowPass)
                    designed.lowPassLeadSamples +=
                        std::max(0.0, dsp::leadSamples(section, biquads, sampleRate));
                designed.sections.insert(designed.sections.end(), biquads.begin(), biquads.end());
            }
        }
    });
    designed.delaySamples += designed.lowPassLeadSamples;
    return designed;
}

std::complex<double> idealResponse(const Tuning& tuning, OutputGroup output, double frequencyHz)
{
    std::complex<double> response = 1.0;
    forEachElement(tuning, output, [&](const Element& element) {
        response *= elementResponse(element, frequencyHz);
    });
    return response;
}

std::complex<double> tuningResponse(const Tuning& tuning, OutputGroup output, double frequencyHz,
                                    double sampleRate)
{
    return designTuning(tuning, output, sampleRate).response(frequencyHz);
}

void applyTuning(const Tuning& tuning, OutputGroup output, double sampleRate,
                 std::span<double> impulse)
{
    const DesignedTuning designed = designTuning(tuning, output, sampleRate);
    if (designed.gainLinear != 1.0)
        for (double& sample : impulse)
            sample *= designed.gainLinear;
    for (const dsp::BiquadCoefficients& section : designed.sections)
        dsp::filterInPlace(section, impulse);
    dsp::delaySamplesInPlace(designed.delaySamples, impulse);
}

dsp::Result<void> checkApplies(const Tuning& tuning, OutputGroup output)
{
    const auto touchesAPart = [output](const Chain& chain) {
        return !chain.elements.empty()
               && (measure::speakersOf(chain.group) & measure::speakersOf(output)) != 0
               && !covers(chain.group, output);
    };
    const auto found = std::ranges::find_if(tuning.chains, touchesAPart);
    if (found == tuning.chains.end())
        return {};
    const std::string name(measure::speakerGroupName(output));
    const std::string chainName(measure::speakerGroupName(found->group));
    return dsp::fail(dsp::ErrorCode::unsupported,
                     "the tuning '" + tuning.name + "' has a chain on '" + chainName
                         + "', which is a part of the speakers heard together in a response of '"
                         + name + "', so its effect cannot be told; measure '" + chainName
                         + "' by itself, or put the chain on "
                         + (output == OutputGroup::all ? "" : "'" + name + "' or ") + "'all'");
}

bool hasLimiter(const Tuning& tuning, OutputGroup output) noexcept
{
    bool found = false;
    forEachElement(tuning, output, [&](const Element& element) {
        found = found || element.type == ElementType::limiter;
    });
    return found;
}

} // namespace saddletone::tuning
