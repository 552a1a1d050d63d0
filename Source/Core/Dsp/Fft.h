#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace saddletone::dsp {

/** What a transform is used for; planning one direction takes half the time. */
enum class FftDirections { both, forwardOnly };

/** Real FFT of one fixed size (FFTW3), with its own aligned buffers.

    forward() turns time() into spectrum(), unscaled. inverse() turns spectrum() into time() and
    divides by the size, so the two undo each other; it spoils spectrum(). Plans are estimated,
    not measured, so that a transform rounds alike in every run and every program.
    Constructing and destroying take FFTW's planner lock; transforming takes none.
    Sample is float or double. */
template <typename Sample>
class RealFft {
public:
    // Setup (may allocate, not during process)
    /** size: even, 2 or more; products of small primes are fast. inverse() must not be called where
        directions is forwardOnly. */
    explicit RealFft(std::size_t size, FftDirections directions = FftDirections::both);
    ~RealFft();
    RealFft(RealFft&&) noexcept;
    RealFft& operator=(RealFft&&) noexcept;
    RealFft(const RealFft&) = delete;
    RealFft& operator=(const RealFft&) = delete;
    /** Another of the same size with buffers of its own; the plans are shared, so making it is
        quick. The two may transform at the same time. */
    [[nodiscard]] RealFft twin() const;

    // Audio thread (bounded, no lock, no allocation, no I/O)
    [[nodiscard]] std::size_t size() const noexcept;
    [[nodiscard]] std::size_t numBins() const noexcept { return size() / 2 + 1; }
    [[nodiscard]] std::span<Sample> time() noexcept;
    [[nodiscard]] std::span<std::complex<Sample>> spectrum() noexcept;
    void forward() noexcept;
    void inverse() noexcept;

private:
    struct Plans;
    struct State;
    explicit RealFft(std::unique_ptr<State> newState);
    std::unique_ptr<State> state;
};

extern template class RealFft<float>;
extern template class RealFft<double>;

/** Inverse FFT of complex values of one fixed size, in place, divided by the size. */
class ComplexInverseFft {
public:
    // Setup (may allocate, not during process)
    /** size: 2 or more; products of small primes are fast. */
    explicit ComplexInverseFft(std::size_t size);
    ~ComplexInverseFft();
    ComplexInverseFft(ComplexInverseFft&&) noexcept;
    ComplexInverseFft& operator=(ComplexInverseFft&&) noexcept;
    ComplexInverseFft(const ComplexInverseFft&) = delete;
    ComplexInverseFft& operator=(const ComplexInverseFft&) = delete;
    /** As RealFft::twin(). */
    [[nodiscard]] ComplexInverseFft twin() const;

    // Audio thread (bounded, no lock, no allocation, no I/O)
    [[nodiscard]] std::span<std::complex<float>> values() noexcept;
    void inverse() noexcept;

private:
    struct Plan;
    struct State;
    explicit ComplexInverseFft(std::unique_ptr<State> newState);
    std::unique_ptr<State> state;
};

/** The smallest even size of the form 2^a 3^b 5^c (a >= 1) that is not below minimum. */
[[nodiscard]] std::size_t fastFftSize(std::size_t minimum);

/** A size that is quicker still for transforms that do not fit into a processor's cache: of those
    with a factor of 32 that are at most 4 % above fastFftSize(minimum), one of the fewest threes
    and with a five, as each pass of FFTW over the memory then does more (radix 16, 20 and 25 in place
    of 3, 9 and 12). Measured between 0.7 and 3.2 million: as quick as the smallest one at worst, and
    up to twice as quick. */
[[nodiscard]] std::size_t largeFftSize(std::size_t minimum);

} // namespace saddletone::dsp
