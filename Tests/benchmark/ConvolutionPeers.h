#pragma once

#include <cstddef>
#include <memory>
#include <string>
#include <vector>

namespace saddletone::benchmark {

/** Taps of a stereo response: the left ear's of the left channel, the right ear's of the right. */
struct StereoTaps {
    std::vector<float> left;
    std::vector<float> right;
};

/** Something that convolves blocks of one length without latency. */
class Contestant {
public:
    virtual ~Contestant() = default;

    virtual void process(const float* const* input, float* const* output) = 0;
    /** Processor time of threads of its own up to now. */
    [[nodiscard]] virtual double otherThreadsSeconds() const { return 0.0; }

    std::string name;
    bool isUniform = false; ///< Partitions of one length, that of the block.
    bool isOurs = false;
};

/** juce::dsp::Convolution, uniform and with several head sizes, on FFTW. */
void addJuce(std::vector<std::unique_ptr<Contestant>>& contestants, const StereoTaps& taps,
             std::size_t blockFrames);

/** zita-convolver, uniform and with several longest partitions. */
void addZita(std::vector<std::unique_ptr<Contestant>>& contestants, const StereoTaps& taps,
             std::size_t blockFrames);

} // namespace saddletone::benchmark
