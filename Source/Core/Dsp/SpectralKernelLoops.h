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

/** A tile as eight rows of 8 / numLanes vectors. */
template <int numLanes>
struct Tile {
    static constexpr int numParts = 8 / numLanes;
    typename VectorOf<numLanes>::Type real[numParts][8];
    typename VectorOf<numLanes>::Type imag[numParts][8];
};

template <int numLanes>
SADDLETONE_INLINE void transposeTile(typename VectorOf<numLanes>::Type (&tile)[8 / numLanes][8])
{
    using Vector = typename VectorOf<numLanes>::Type;
    constexpr int numParts = 8 / numLanes;
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

template <int numLanes>
void forwardTile(const float* real, const float* imag, const float* rotations, float* spectrum)
{
    using Vector = typename VectorOf<numLanes>::Type;
    constexpr int numParts = 8 / numLanes;
    Tile<numLanes> tile;
    for (int part = 0; part < numParts; ++part) {
        Complex<Vector> x[8];
        for (int row = 0; row < 8; ++row) {
            x[row] = {load<numLanes>(real + 8 * row + part * numLanes),
                      load<numLanes>(imag + 8 * row + part * numLanes)};
            if (row > 0)
                x[row] =
                    rotated<true>(x[row], rotations[2 * (row - 1)], rotations[2 * (row - 1) + 1]);
        }
        butterfly8<true>(x);
        for (int row = 0; row < 8; ++row) {
            tile.real[part][row] = x[row].real;
            tile.imag[part][row] = x[row].imag;
        }
    }
    transposeTile<numLanes>(tile.real);
    transposeTile<numLanes>(tile.imag);
    const float* const columns = rotations + 14;
    for (int part = 0; part < numParts; ++part) {
        Complex<Vector> x[8];
        for (int row = 0; row < 8; ++row) {
            x[row] = {tile.real[part][row], tile.imag[part][row]};
            if (row > 0)
                x[row] = rotated<true>(
                    x[row], load<numLanes>(columns + 16 * (row - 1) + part * numLanes),
                    load<numLanes>(columns + 16 * (row - 1) + 8 + part * numLanes));
        }
        butterfly8<true>(x);
        for (int row = 0; row < 8; ++row) {
            store<numLanes>(spectrum + 8 * row + part * numLanes, x[row].real);
            store<numLanes>(spectrum + 64 + 8 * row + part * numLanes, x[row].imag);
        }
    }
}

template <int numLanes, bool keepsReal>
SADDLETONE_INLINE void runInverseTile(const float* spectrum, const float* rotations, float* real,
                                      float* imag)
{
    using Vector = typename VectorOf<numLanes>::Type;
    constexpr int numParts = 8 / numLanes;
    Tile<numLanes> tile;
    const float* const columns = rotations + 14;
    for (int part = 0; part < numParts; ++part) {
        Complex<Vector> x[8];
        for (int row = 0; row < 8; ++row)
            x[row] = {load<numLanes>(spectrum + 8 * row + part * numLanes),
                      load<numLanes>(spectrum + 64 + 8 * row + part * numLanes)};
        butterfly8<false>(x);
        for (int row = 0; row < 8; ++row) {
            if (row > 0)
                x[row] = rotated<false>(
                    x[row], load<numLanes>(columns + 16 * (row - 1) + part * numLanes),
                    load<numLanes>(columns + 16 * (row - 1) + 8 + part * numLanes));
            tile.real[part][row] = x[row].real;
            tile.imag[part][row] = x[row].imag;
        }
    }
    transposeTile<numLanes>(tile.real);
    transposeTile<numLanes>(tile.imag);
    for (int part = 0; part < numParts; ++part) {
        Complex<Vector> x[8];
        for (int row = 0; row < 8; ++row)
            x[row] = {tile.real[part][row], tile.imag[part][row]};
        butterfly8<false>(x);
        for (int row = 0; row < 8; ++row) {
            if (row > 0)
                x[row] =
                    rotated<false>(x[row], rotations[2 * (row - 1)], rotations[2 * (row - 1) + 1]);
            if constexpr (keepsReal)
                store<numLanes>(real + 8 * row + part * numLanes, x[row].real);
            store<numLanes>(imag + 8 * row + part * numLanes, x[row].imag);
        }
    }
}

template <int numLanes>
void inverseTile(const float* spectrum, const float* rotations, float* real, float* imag)
{
    runInverseTile<numLanes, true>(spectrum, rotations, real, imag);
}

template <int numLanes>
void inverseTileImag(const float* spectrum, const float* rotations, float* imag)
{
    runInverseTile<numLanes, false>(spectrum, rotations, nullptr, imag);
}

template <int numLanes>
void addProducts(const float* spectra, const float* kernel, size_t count, float* sum)
{
    using Vector = typename VectorOf<numLanes>::Type;
    // As many sums as the registers of the smallest set hold beside the factors.
    constexpr int numVectors = 4;
    constexpr size_t step = numVectors * numLanes;
    for (size_t bin = 0; bin < tileBins; bin += step) {
        Vector real[numVectors];
        Vector imag[numVectors];
        for (int index = 0; index < numVectors; ++index) {
            real[index] = load<numLanes>(sum + bin + index * numLanes);
            imag[index] = load<numLanes>(sum + tileBins + bin + index * numLanes);
        }
        const float* x = spectra + bin;
        const float* h = kernel + bin;
        for (size_t partition = 0; partition < count; ++partition) {
            for (int index = 0; index < numVectors; ++index) {
                const Vector xReal = load<numLanes>(x + index * numLanes);
                const Vector xImag = load<numLanes>(x + tileBins + index * numLanes);
                const Vector hReal = load<numLanes>(h + index * numLanes);
                const Vector hImag = load<numLanes>(h + tileBins + index * numLanes);
                real[index] += xReal * hReal - xImag * hImag;
                imag[index] += xReal * hImag + xImag * hReal;
            }
            x -= tileFloats;
            h += tileFloats;
        }
        for (int index = 0; index < numVectors; ++index) {
            store<numLanes>(sum + bin + index * numLanes, real[index]);
            store<numLanes>(sum + tileBins + bin + index * numLanes, imag[index]);
        }
    }
}

template <int numLanes, int numVectors>
SADDLETONE_INLINE void addDirectTo(const float* taps, size_t numTaps, const float* now,
                                   float* output)
{
    using Vector = typename VectorOf<numLanes>::Type;
    Vector sums[numVectors];
    for (int index = 0; index < numVectors; ++index)
        sums[index] = load<numLanes>(output + index * numLanes);
    for (size_t tap = 0; tap < numTaps; ++tap)
        for (int index = 0; index < numVectors; ++index)
            sums[index] += taps[tap] * load<numLanes>(now - tap + index * numLanes);
    for (int index = 0; index < numVectors; ++index)
        store<numLanes>(output + index * numLanes, sums[index]);
}

template <int numLanes>
void addDirect(const float* taps, size_t numTaps, const float* now, float* output, size_t numFrames)
{
    size_t frame = 0;
    for (; frame + 3 * numLanes < numFrames; frame += 4 * numLanes)
        addDirectTo<numLanes, 4>(taps, numTaps, now + frame, output + frame);
    for (; frame < numFrames; frame += numLanes)
        addDirectTo<numLanes, 1>(taps, numTaps, now + frame, output + frame);
}

template <int numLanes, int numTileLanes>
constexpr SpectralKernels kernelsNamed(const char* name)
{
    return {.name = name,
            .forwardPass = runPassOf<numLanes, true, true>,
            .inversePass = runPassOf<numLanes, false, true>,
            .inversePassImag = runPassOf<numLanes, false, false>,
            .forwardTile = forwardTile<numTileLanes>,
            .inverseTile = inverseTile<numTileLanes>,
            .inverseTileImag = inverseTileImag<numTileLanes>,
            .addProducts = addProducts<numLanes>,
            .addDirect = addDirect<numLanes>};
}

#undef SADDLETONE_INLINE

} // namespace
} // namespace saddletone::dsp
