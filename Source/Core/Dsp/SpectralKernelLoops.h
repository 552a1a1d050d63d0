#pragma once

#include "Core/Dsp/SpectralKernels.h"

// The loops of SpectralKernels for one instruction set. Included by one source file for each, which
// is compiled for that set: everything here is local to the file, and nothing of the standard
// library is used, or the linker might take an instance of it that other machines cannot run.
//
// A transform of size B takes a polynomial in t with complex coefficients modulo t^B - a. A pass of
// radix R splits it into R remainders modulo t^(B/R) - b with b^R = a: one rotation per row and
// pass, the same for the whole row. Order of the spectrum: as it falls out.

namespace saddletone::dsp {
namespace {

/** numLanes floats at a time: a vector of the compiler's (GCC, Clang). */
template <int numLanes>
struct VectorOf {
    typedef float Type __attribute__((vector_size(numLanes * sizeof(float))));
    typedef float Unaligned
        __attribute__((vector_size(numLanes * sizeof(float)), aligned(sizeof(float)), may_alias));
};

#define SADDLETONE_INLINE inline __attribute__((always_inline))

template <int numLanes>
SADDLETONE_INLINE typename VectorOf<numLanes>::Type load(const float* source)
{
    return *reinterpret_cast<const typename VectorOf<numLanes>::Unaligned*>(source);
}

template <int numLanes>
SADDLETONE_INLINE void store(float* place, typename VectorOf<numLanes>::Type values)
{
    *reinterpret_cast<typename VectorOf<numLanes>::Unaligned*>(place) = values;
}

template <typename Vector>
struct Complex {
    Vector real;
    Vector imag;
};

template <typename Vector>
SADDLETONE_INLINE Complex<Vector> operator+(const Complex<Vector>& a, const Complex<Vector>& b)
{
    return {a.real + b.real, a.imag + b.imag};
}

template <typename Vector>
SADDLETONE_INLINE Complex<Vector> operator-(const Complex<Vector>& a, const Complex<Vector>& b)
{
    return {a.real - b.real, a.imag - b.imag};
}

/** Times cosine + i sine, or its conjugate on the way back. */
template <bool isForward, typename Vector, typename Factor>
SADDLETONE_INLINE Complex<Vector> rotated(const Complex<Vector>& a, const Factor& cosine,
                                          const Factor& sine)
{
    if constexpr (isForward)
        return {a.real * cosine - a.imag * sine, a.imag * cosine + a.real * sine};
    else
        return {a.real * cosine + a.imag * sine, a.imag * cosine - a.real * sine};
}

/** Times i, or -i on the way back. */
template <bool isForward, typename Vector>
SADDLETONE_INLINE Complex<Vector> quarterTurned(const Complex<Vector>& a)
{
    if constexpr (isForward)
        return {-a.imag, a.real};
    else
        return {a.imag, -a.real};
}

template <typename Vector>
SADDLETONE_INLINE void butterfly2(Complex<Vector>& a, Complex<Vector>& b)
{
    const Complex<Vector> difference = a - b;
    a = a + b;
    b = difference;
}

/** In natural order, in place. */
template <bool isForward, typename Vector>
SADDLETONE_INLINE void butterfly4(Complex<Vector>& a, Complex<Vector>& b, Complex<Vector>& c,
                                  Complex<Vector>& d)
{
    butterfly2(a, c);
    butterfly2(b, d);
    const Complex<Vector> turned = quarterTurned<isForward>(d);
    const Complex<Vector> odd = c;
    const Complex<Vector> even = b;
    c = a - even;
    a = a + even;
    b = odd + turned;
    d = odd - turned;
}

template <bool isForward, typename Vector>
SADDLETONE_INLINE void butterfly8(Complex<Vector> (&x)[8])
{
    butterfly4<isForward>(x[0], x[2], x[4], x[6]);
    butterfly4<isForward>(x[1], x[3], x[5], x[7]);
    constexpr float half = 0.70710678118654752440F; // sqrt(1/2)
    const Complex<Vector> second = x[3];
    const Complex<Vector> third = x[5];
    const Complex<Vector> fourth = x[7];
    const Complex<Vector> turnedSecond = quarterTurned<isForward>(second);
    const Complex<Vector> turnedFourth = quarterTurned<isForward>(fourth);
    const Complex<Vector> one = {(second.real + turnedSecond.real) * half,
                                 (second.imag + turnedSecond.imag) * half};
    const Complex<Vector> two = quarterTurned<isForward>(third);
    const Complex<Vector> three = {(turnedFourth.real - fourth.real) * half,
                                   (turnedFourth.imag - fourth.imag) * half};
    const Complex<Vector> evens[4] = {x[0], x[2], x[4], x[6]};
    const Complex<Vector> odds[4] = {x[1], one, two, three};
    for (int index = 0; index < 4; ++index) {
        x[index] = evens[index] + odds[index];
        x[index + 4] = evens[index] - odds[index];
    }
}

template <bool isForward, int radix, typename Vector>
SADDLETONE_INLINE void butterfly(Complex<Vector> (&x)[radix])
{
    if constexpr (radix == 2)
        butterfly2(x[0], x[1]);
    else if constexpr (radix == 4)
        butterfly4<isForward>(x[0], x[1], x[2], x[3]);
    else
        butterfly8<isForward>(x);
}

template <int numLanes, int radix, bool isForward, bool keepsReal>
SADDLETONE_INLINE void runPass(const SpectralPass& pass)
{
    using Vector = typename VectorOf<numLanes>::Type;
    for (size_t place = pass.begin; place < pass.end; place += numLanes) {
        Complex<Vector> x[radix];
        for (int row = 0; row < radix; ++row) {
            const size_t index = static_cast<size_t>(row) * pass.distance + place;
            x[row] = {load<numLanes>(pass.sourceReal + index),
                      load<numLanes>(pass.sourceImag + index)};
        }
        if constexpr (isForward)
            for (int row = 1; row < radix; ++row)
                x[row] = rotated<true>(x[row], pass.rotations[2 * (row - 1)],
                                       pass.rotations[2 * (row - 1) + 1]);
        butterfly<isForward, radix>(x);
        if constexpr (!isForward)
            for (int row = 1; row < radix; ++row)
                x[row] = rotated<false>(x[row], pass.rotations[2 * (row - 1)],
                                        pass.rotations[2 * (row - 1) + 1]);
        for (int row = 0; row < radix; ++row) {
            const size_t index = static_cast<size_t>(row) * pass.distance + place;
            if constexpr (keepsReal)
                store<numLanes>(pass.real + index, x[row].real);
            store<numLanes>(pass.imag + index, x[row].imag);
        }
    }
}

template <int numLanes, bool isForward, bool keepsReal>
void runPassOf(size_t radix, const SpectralPass& pass)
{
    if (radix == 8)
        runPass<numLanes, 8, isForward, keepsReal>(pass);
    else if (radix == 4)
        runPass<numLanes, 4, isForward, keepsReal>(pass);
    else
        runPass<numLanes, 2, isForward, keepsReal>(pass);
}

/** Eight floats as 8 / numLanes vectors, or as one half of a vector of sixteen. */
template <int numLanes>
SADDLETONE_INLINE typename VectorOf<numLanes>::Type loadBoth(const float* first,
                                                             const float* second)
{
    if constexpr (numLanes == 16)
        return __builtin_shufflevector(load<8>(first), load<8>(second), 0, 1, 2, 3, 4, 5, 6, 7, 8,
                                       9, 10, 11, 12, 13, 14, 15);
    else
        return load<numLanes>(first);
}

template <int numLanes>
SADDLETONE_INLINE void storeBoth(float* first, float* second,
                                 typename VectorOf<numLanes>::Type values)
{
    if constexpr (numLanes == 16) {
        store<8>(first, __builtin_shufflevector(values, values, 0, 1, 2, 3, 4, 5, 6, 7));
        store<8>(second, __builtin_shufflevector(values, values, 8, 9, 10, 11, 12, 13, 14, 15));
    } else {
        store<numLanes>(first, values);
    }
}

SADDLETONE_INLINE void transpose(VectorOf<4>::Type (&rows)[4])
{
    const auto a = __builtin_shufflevector(rows[0], rows[1], 0, 4, 1, 5);
    const auto b = __builtin_shufflevector(rows[0], rows[1], 2, 6, 3, 7);
    const auto c = __builtin_shufflevector(rows[2], rows[3], 0, 4, 1, 5);
    const auto d = __builtin_shufflevector(rows[2], rows[3], 2, 6, 3, 7);
    rows[0] = __builtin_shufflevector(a, c, 0, 1, 4, 5);
    rows[1] = __builtin_shufflevector(a, c, 2, 3, 6, 7);
    rows[2] = __builtin_shufflevector(b, d, 0, 1, 4, 5);
    rows[3] = __builtin_shufflevector(b, d, 2, 3, 6, 7);
}

SADDLETONE_INLINE void transpose(VectorOf<8>::Type (&rows)[8])
{
    VectorOf<8>::Type pairs[8];
    for (int row = 0; row < 8; row += 2) {
        pairs[row] = __builtin_shufflevector(rows[row], rows[row + 1], 0, 8, 1, 9, 4, 12, 5, 13);
        pairs[row + 1] =
            __builtin_shufflevector(rows[row], rows[row + 1], 2, 10, 3, 11, 6, 14, 7, 15);
    }
    VectorOf<8>::Type fours[8];
    for (int half = 0; half < 8; half += 4)
        for (int row = 0; row < 2; ++row) {
            const auto first = pairs[half + row];
            const auto second = pairs[half + row + 2];
            fours[half + 2 * row] =
                __builtin_shufflevector(first, second, 0, 1, 8, 9, 4, 5, 12, 13);
            fours[half + 2 * row + 1] =
                __builtin_shufflevector(first, second, 2, 3, 10, 11, 6, 7, 14, 15);
        }
    for (int row = 0; row < 4; ++row) {
        rows[row] = __builtin_shufflevector(fours[row], fours[row + 4], 0, 1, 2, 3, 8, 9, 10, 11);
        rows[row + 4] =
            __builtin_shufflevector(fours[row], fours[row + 4], 4, 5, 6, 7, 12, 13, 14, 15);
    }
}

/** Two squares of eight, side by side. */
SADDLETONE_INLINE void transpose(VectorOf<16>::Type (&rows)[8])
{
    VectorOf<16>::Type pairs[8];
    for (int row = 0; row < 8; row += 2) {
        pairs[row] = __builtin_shufflevector(rows[row], rows[row + 1], 0, 16, 1, 17, 4, 20, 5, 21,
                                             8, 24, 9, 25, 12, 28, 13, 29);
        pairs[row + 1] = __builtin_shufflevector(rows[row], rows[row + 1], 2, 18, 3, 19, 6, 22, 7,
                                                 23, 10, 26, 11, 27, 14, 30, 15, 31);
    }
    VectorOf<16>::Type fours[8];
    for (int half = 0; half < 8; half += 4)
        for (int row = 0; row < 2; ++row) {
            const auto first = pairs[half + row];
            const auto second = pairs[half + row + 2];
            fours[half + 2 * row] = __builtin_shufflevector(first, second, 0, 1, 16, 17, 4, 5, 20,
                                                            21, 8, 9, 24, 25, 12, 13, 28, 29);
            fours[half + 2 * row + 1] = __builtin_shufflevector(
                first, second, 2, 3, 18, 19, 6, 7, 22, 23, 10, 11, 26, 27, 14, 15, 30, 31);
        }
    for (int row = 0; row < 4; ++row) {
        rows[row] = __builtin_shufflevector(fours[row], fours[row + 4], 0, 1, 2, 3, 16, 17, 18, 19,
                                            8, 9, 10, 11, 24, 25, 26, 27);
        rows[row + 4] = __builtin_shufflevector(fours[row], fours[row + 4], 4, 5, 6, 7, 20, 21, 22,
                                                23, 12, 13, 14, 15, 28, 29, 30, 31);
    }
}

template <int numLanes>
inline constexpr int partsOfRow = numLanes < 8 ? 8 / numLanes : 1;

template <int numLanes>
SADDLETONE_INLINE void
    transposeTile(typename VectorOf<numLanes>::Type (&tile)[partsOfRow<numLanes>][8])
{
    if constexpr (numLanes >= 8) {
        transpose(tile[0]);
    } else {
        using Vector = typename VectorOf<numLanes>::Type;
        constexpr int numParts = partsOfRow<numLanes>;
        Vector result[numParts][8];
        for (int part = 0; part < numParts; ++part)
            for (int other = 0; other < numParts; ++other) {
                Vector square[numLanes];
                for (int row = 0; row < numLanes; ++row)
                    square[row] = tile[part][other * numLanes + row];
                transpose(square);
                for (int row = 0; row < numLanes; ++row)
                    result[other][part * numLanes + row] = square[row];
            }
        for (int part = 0; part < numParts; ++part)
            for (int row = 0; row < 8; ++row)
                tile[part][row] = result[part][row];
    }
}

/** With sixteen lanes both tiles at once, otherwise the first. */
template <int numLanes>
SADDLETONE_INLINE void runForwardTile(const TileSource& first, const TileSource& second,
                                      const float* rotations)
{
    using Vector = typename VectorOf<numLanes>::Type;
    constexpr int numParts = partsOfRow<numLanes>;
    Vector real[numParts][8];
    Vector imag[numParts][8];
    for (int part = 0; part < numParts; ++part) {
        Complex<Vector> x[8];
        for (int row = 0; row < 8; ++row) {
            const int place = 8 * row + part * numLanes;
            x[row] = {loadBoth<numLanes>(first.real + place, second.real + place),
                      loadBoth<numLanes>(first.imag + place, second.imag + place)};
            if (row > 0)
                x[row] =
                    rotated<true>(x[row], rotations[2 * (row - 1)], rotations[2 * (row - 1) + 1]);
        }
        butterfly8<true>(x);
        for (int row = 0; row < 8; ++row) {
            real[part][row] = x[row].real;
            imag[part][row] = x[row].imag;
        }
    }
    transposeTile<numLanes>(real);
    transposeTile<numLanes>(imag);
    const float* const columns = rotations + 14;
    for (int part = 0; part < numParts; ++part) {
        Complex<Vector> x[8];
        for (int row = 0; row < 8; ++row) {
            x[row] = {real[part][row], imag[part][row]};
            if (row > 0) {
                const float* const column = columns + 16 * (row - 1) + part * numLanes;
                x[row] = rotated<true>(x[row], loadBoth<numLanes>(column, column),
                                       loadBoth<numLanes>(column + 8, column + 8));
            }
        }
        butterfly8<true>(x);
        for (int row = 0; row < 8; ++row) {
            const int place = 8 * row + part * numLanes;
            storeBoth<numLanes>(first.tile + place, second.tile + place, x[row].real);
            storeBoth<numLanes>(first.tile + 64 + place, second.tile + 64 + place, x[row].imag);
        }
    }
}

template <int numLanes, bool keepsReal>
SADDLETONE_INLINE void runInverseTile(const TileTarget& first, const TileTarget& second,
                                      const float* rotations)
{
    using Vector = typename VectorOf<numLanes>::Type;
    constexpr int numParts = partsOfRow<numLanes>;
    Vector real[numParts][8];
    Vector imag[numParts][8];
    const float* const columns = rotations + 14;
    for (int part = 0; part < numParts; ++part) {
        Complex<Vector> x[8];
        for (int row = 0; row < 8; ++row) {
            const int place = 8 * row + part * numLanes;
            x[row] = {loadBoth<numLanes>(first.tile + place, second.tile + place),
                      loadBoth<numLanes>(first.tile + 64 + place, second.tile + 64 + place)};
        }
        butterfly8<false>(x);
        for (int row = 0; row < 8; ++row) {
            if (row > 0) {
                const float* const column = columns + 16 * (row - 1) + part * numLanes;
                x[row] = rotated<false>(x[row], loadBoth<numLanes>(column, column),
                                        loadBoth<numLanes>(column + 8, column + 8));
            }
            real[part][row] = x[row].real;
            imag[part][row] = x[row].imag;
        }
    }
    transposeTile<numLanes>(real);
    transposeTile<numLanes>(imag);
    for (int part = 0; part < numParts; ++part) {
        Complex<Vector> x[8];
        for (int row = 0; row < 8; ++row)
            x[row] = {real[part][row], imag[part][row]};
        butterfly8<false>(x);
        for (int row = 0; row < 8; ++row) {
            if (row > 0)
                x[row] =
                    rotated<false>(x[row], rotations[2 * (row - 1)], rotations[2 * (row - 1) + 1]);
            const int place = 8 * row + part * numLanes;
            if constexpr (keepsReal)
                storeBoth<numLanes>(first.real + place, second.real + place, x[row].real);
            storeBoth<numLanes>(first.imag + place, second.imag + place, x[row].imag);
        }
    }
}

/** A single tile has no more than eight numbers side by side. */
constexpr int lanesOfOneTile(int numLanes)
{
    return numLanes < 8 ? numLanes : 8;
}

template <int numLanes>
void forwardTile(const float* real, const float* imag, const float* rotations, float* tile)
{
    const TileSource source {real, imag, tile};
    runForwardTile<lanesOfOneTile(numLanes)>(source, source, rotations);
}

template <int numLanes>
void forwardTilePair(const TileSource& first, const TileSource& second, const float* rotations)
{
    runForwardTile<numLanes>(first, second, rotations);
    if constexpr (numLanes < 16)
        runForwardTile<numLanes>(second, first, rotations);
}

template <int numLanes, bool keepsReal>
void inverseTilePair(const TileTarget& first, const TileTarget& second, const float* rotations)
{
    runInverseTile<numLanes, keepsReal>(first, second, rotations);
    if constexpr (numLanes < 16)
        runInverseTile<numLanes, keepsReal>(second, first, rotations);
}

template <int numLanes>
void sumProducts(const TileRun* runs, size_t numRuns, float* sum)
{
    using Vector = typename VectorOf<numLanes>::Type;
    // As many sums as the registers of the smallest set hold beside the factors.
    constexpr int numVectors = 4;
    constexpr size_t step = numVectors * numLanes;
    for (size_t bin = 0; bin < tileBins; bin += step) {
        Vector real[numVectors] {};
        Vector imag[numVectors] {};
        for (const TileRun* run = runs; run < runs + numRuns; ++run) {
            const float* x = run->spectra + bin;
            const float* h = run->kernel + bin;
            const float* const end = h + run->count * tileFloats;
            for (; h < end; h += tileFloats, x -= tileFloats)
                for (int index = 0; index < numVectors; ++index) {
                    const Vector xReal = load<numLanes>(x + index * numLanes);
                    const Vector xImag = load<numLanes>(x + tileBins + index * numLanes);
                    const Vector hReal = load<numLanes>(h + index * numLanes);
                    const Vector hImag = load<numLanes>(h + tileBins + index * numLanes);
                    real[index] += xReal * hReal - xImag * hImag;
                    imag[index] += xReal * hImag + xImag * hReal;
                }
        }
        for (int index = 0; index < numVectors; ++index) {
            store<numLanes>(sum + bin + index * numLanes, real[index]);
            store<numLanes>(sum + tileBins + bin + index * numLanes, imag[index]);
        }
    }
}

template <int numLanes, int numVectors>
SADDLETONE_INLINE void mixTo(const float* const* tails, size_t numTails,
                             const DirectSum* directSums, size_t numDirectSums, float* output,
                             size_t frame)
{
    typename VectorOf<numLanes>::Type sums[numVectors] {};
    for (const DirectSum* sum = directSums; sum < directSums + numDirectSums; ++sum)
        for (size_t tap = 0; tap < sum->numTaps; ++tap)
            for (int index = 0; index < numVectors; ++index)
                sums[index] +=
                    sum->taps[tap] * load<numLanes>(sum->now + frame - tap + index * numLanes);
    for (size_t tail = 0; tail < numTails; ++tail)
        for (int index = 0; index < numVectors; ++index)
            sums[index] += load<numLanes>(tails[tail] + frame + index * numLanes);
    for (int index = 0; index < numVectors; ++index)
        store<numLanes>(output + frame + index * numLanes, sums[index]);
}

template <int numLanes>
void mix(const float* const* tails, size_t numTails, const DirectSum* directSums,
         size_t numDirectSums, float* output, size_t numFrames)
{
    size_t frame = 0;
    for (; frame + 3 * numLanes < numFrames; frame += 4 * numLanes)
        mixTo<numLanes, 4>(tails, numTails, directSums, numDirectSums, output, frame);
    for (; frame < numFrames; frame += numLanes)
        mixTo<numLanes, 1>(tails, numTails, directSums, numDirectSums, output, frame);
}

template <int numLanes>
constexpr SpectralKernels kernelsNamed(const char* name)
{
    return {.name = name,
            .forwardPass = runPassOf<numLanes, true, true>,
            .inversePass = runPassOf<numLanes, false, true>,
            .inversePassImag = runPassOf<numLanes, false, false>,
            .forwardTile = forwardTile<numLanes>,
            .forwardTilePair = forwardTilePair<numLanes>,
            .inverseTilePair = inverseTilePair<numLanes, true>,
            .inverseTilePairImag = inverseTilePair<numLanes, false>,
            .sumProducts = sumProducts<numLanes>,
            .mix = mix<numLanes>};
}

#undef SADDLETONE_INLINE

} // namespace
} // namespace saddletone::dsp
