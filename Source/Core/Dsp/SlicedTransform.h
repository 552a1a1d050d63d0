#pragma once

#include "Core/Dsp/AlignedFloats.h"
#include "Core/Dsp/SpectralKernels.h"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace saddletone::dsp {

/** A transform for convolution by overlap-save that can be done in small steps, spread over time.

    A polynomial of 2 size real coefficients modulo t^(2 size) + 1 is one of size complex ones modulo
    t^size - i: coefficient n is the real part of value n, coefficient size + n its imaginary part.
    The transform evaluates it at the size roots of t^size = i. So the product of two spectra is the
    negacyclic convolution, and nothing has to be unpacked as in a real FFT. Of a block's overlap-save
    the imaginary parts are the result, the real parts are wrapped around.

    A spectrum lies in tiles of tileBins real and then tileBins imaginary parts, in the order in which
    it falls out (decimation in frequency), which multiplication does not care about. */
class SlicedTransform {
public:
    /** One step: part of a pass, or the last passes of one tile. */
    struct Step {
        std::size_t radix = 0; ///< 2, 4 or 8; 0: a tile.
        std::size_t tile = 0;
        std::size_t firstValue = 0; ///< Of the polynomial that is split, or of the tile.
        std::size_t distance = 0;
        std::size_t begin = 0;
        std::size_t end = 0;
        std::size_t rotations = 0; ///< Where its rotations begin.
        bool isOutermost = false;  ///< Reads the values themselves, writes the result itself.
        std::uint32_t work = 0;    ///< About how long it takes for each signal; see workPerTile.
    };

    /** The work of a tile's transform, in units of about a nanosecond. */
    static constexpr std::uint32_t workPerTile = 16;
    /** The work of multiplying a tile with another and adding it up. */
    static constexpr std::uint32_t workPerProduct = 6;

    // Setup (may allocate, not during process)
    /** size: tileBins times a power of two. */
    explicit SlicedTransform(std::size_t size);

    /** The whole of a forward transform, for kernels: numTiles tiles, tileDistance floats apart. */
    void forward(std::span<const float> real, std::span<const float> imag, std::span<float> tiles,
                 std::size_t tileDistance) const;

    // Any thread
    [[nodiscard]] std::size_t size() const noexcept { return numValues; }
    [[nodiscard]] std::size_t numTiles() const noexcept { return numValues / tileBins; }

    /** In the order of the forward transform: passes before the tiles that they lead to. */
    [[nodiscard]] std::span<const Step> forwardSteps() const noexcept { return forwardOrder; }
    /** The same steps in the order of the inverse: tiles, which rise here too, before passes. */
    [[nodiscard]] std::span<const Step> inverseSteps() const noexcept { return inverseOrder; }

    /** Work of all steps together. */
    [[nodiscard]] std::uint32_t totalWork() const noexcept;

    /** One signal of a forward transform. */
    struct Input {
        const float* real; ///< The values.
        const float* imag;
        float* work; ///< 2 size floats that the steps of one transform share.
        float* tile; ///< Where the tile of a tile step goes.
    };

    /** One signal of an inverse transform. */
    struct Output {
        const float* tile; ///< The tile of a tile step.
        float* work;       ///< 2 size floats; in the end the second half is the imaginary parts.
    };

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** A step for two signals at once, which takes less time than one after the other. */
    void runForward(const Step& step, const Input& first, const Input& second) const noexcept;

    /** Unscaled (size times the inverse). */
    void runInverse(const Step& step, const Output& first, const Output& second) const noexcept;

private:
    void runForwardPass(const Step& step, const Input& input) const noexcept;
    void runInversePass(const Step& step, const Output& output) const noexcept;
    void addSteps(std::size_t firstValue, std::size_t length, double angleRadians);

    std::size_t numValues;
    const SpectralKernels* kernels;
    std::vector<Step> forwardOrder;
    std::vector<Step> inverseOrder;
    AlignedFloats rotations;
};

} // namespace saddletone::dsp
