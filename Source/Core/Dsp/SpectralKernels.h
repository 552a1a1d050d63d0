#pragma once

#include <cstddef>
#include <vector>

namespace saddletone::dsp {

/** Complex values that one innermost transform handles, and the bins of one tile of a spectrum. */
inline constexpr std::size_t tileBins = 64;
/** Floats of a tile: its real parts, then its imaginary parts. */
inline constexpr std::size_t tileFloats = 2 * tileBins;
/** Floats of the rotations of one tile: seven for its rows, then seven rows of eight columns. */
inline constexpr std::size_t tileRotationFloats = 2 * 7 + 2 * 7 * 8;

/** Some butterflies of one pass of a transform, those of the values begin to end of each of the
    radix rows, which lie distance apart. begin and end are multiples of 16. */
struct SpectralPass {
    const float* sourceReal;
    const float* sourceImag;
    float* real; ///< May be the source.
    float* imag;
    std::size_t distance;
    std::size_t begin;
    std::size_t end;
    const float* rotations; ///< radix - 1 pairs of cosine and sine.
};

struct TileSource {
    const float* real;
    const float* imag;
    float* tile;
};

struct TileTarget {
    const float* tile;
    float* real; ///< Not used where only imaginary parts are asked for.
    float* imag;
};

/** Products of count tiles of a kernel, in rising order, with tiles of spectra, in falling order. */
struct TileRun {
    const float* spectra;
    const float* kernel;
    std::size_t count;
};

/** numTaps taps over a signal: now[0] is the first frame's own sample, and older
    ones lie before it. */
struct DirectSum {
    const float* taps;
    std::size_t numTaps;
    const float* now;
};

/** The inner loops of convolution, once for each instruction set.

    All sets round alike: each value comes from the same operations in the same order and none is
    fused, so that what is heard does not depend on the machine. */
struct SpectralKernels {
    const char* name;

    /** Rotate, then butterfly: from a polynomial to its remainders. Radix 2, 4 or 8. */
    void (*forwardPass)(std::size_t radix, const SpectralPass& pass);
    /** Butterfly, then rotate back: undoes forwardPass() but for a factor of radix. */
    void (*inversePass)(std::size_t radix, const SpectralPass& pass);
    /** As inversePass(), leaving the real parts alone: the last pass of a convolution, whose real
        parts are what wraps around. */
    void (*inversePassImag)(std::size_t radix, const SpectralPass& pass);

    /** From tileBins values to the tile of their spectrum. */
    void (*forwardTile)(const float* real, const float* imag, const float* rotations, float* tile);
    /** Two tiles of the same rotations. */
    void (*forwardTilePair)(const TileSource& first, const TileSource& second,
                            const float* rotations);
    /** Undo forwardTile() but for a factor of tileBins. */
    void (*inverseTilePair)(const TileTarget& first, const TileTarget& second,
                            const float* rotations);
    void (*inverseTilePairImag)(const TileTarget& first, const TileTarget& second,
                                const float* rotations);

    /** Sets sum to the sum of the products of all runs. */
    void (*sumProducts)(const TileRun* runs, std::size_t numRuns, float* sum);

    /** Sets output to the sum of tails and of direct sums, numFrames of at most 64. Everything is read
        and written as far as the next multiple of 16. */
    void (*mix)(const float* const* tails, std::size_t numTails, const DirectSum* directSums,
                std::size_t numDirectSums, float* output, std::size_t numFrames);
};

/** The sets that this machine can run, the slowest first. */
[[nodiscard]] std::vector<const SpectralKernels*> availableSpectralKernels();

/** The fastest that this machine can run. */
[[nodiscard]] const SpectralKernels& spectralKernels();

} // namespace saddletone::dsp
