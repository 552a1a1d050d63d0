#include "ConvolutionPeers.h"

#include <algorithm>

#include <juce_dsp/juce_dsp.h>

namespace saddletone::benchmark {

namespace {

class JuceConvolution final : public Contestant {
public:
    /** headSize: 0 for uniform partitions. */
    JuceConvolution(const StereoTaps& taps, std::size_t blockFrames, int headSize)
        : convolution(juce::dsp::Convolution::NonUniform {headSize}), numFrames(blockFrames)
    {
        isUniform = headSize == 0;
        name = isUniform ? "JUCE uniform" : "JUCE head " + std::to_string(headSize);
        const auto numTaps = static_cast<int>(taps.left.size());
        juce::AudioBuffer<float> response(2, numTaps);
        response.copyFrom(0, 0, taps.left.data(), numTaps);
        response.copyFrom(1, 0, taps.right.data(), numTaps);
        convolution.loadImpulseResponse(
            std::move(response), sampleRate, juce::dsp::Convolution::Stereo::yes,
            juce::dsp::Convolution::Trim::no, juce::dsp::Convolution::Normalise::no);
        convolution.prepare({sampleRate, static_cast<juce::uint32>(blockFrames), 2});
    }

    void process(const float* const* input, float* const* output) override
    {
        const juce::dsp::AudioBlock<const float> in(input, 2, numFrames);
        juce::dsp::AudioBlock<float> out(output, 2, numFrames);
        convolution.process(juce::dsp::ProcessContextNonReplacing<float>(in, out));
    }

private:
    static constexpr double sampleRate = 48000.0;
    juce::dsp::Convolution convolution;
    std::size_t numFrames;
};

} // namespace

void addJuce(std::vector<std::unique_ptr<Contestant>>& contestants, const StereoTaps& taps,
             std::size_t blockFrames)
{
    contestants.push_back(std::make_unique<JuceConvolution>(taps, blockFrames, 0));
    for (const std::size_t head : {256U, 1024U, 2048U, 4096U, 8192U})
        if (head > blockFrames && head < taps.left.size())
            contestants.push_back(
                std::make_unique<JuceConvolution>(taps, blockFrames, static_cast<int>(head)));
}

} // namespace saddletone::benchmark
