#include "Core/Dsp/Fft.h"

#include <algorithm>
#include <cassert>
#include <mutex>
#include <new>
#include <type_traits>

#include <fftw3.h>

namespace saddletone::dsp {

namespace {

/** FFTW's planner is not thread-safe; one lock serves both precisions. */
std::mutex& plannerLock()
{
    static std::mutex lock;
    return lock;
}

template <typename Sample>
struct Fftw;

template <>
struct Fftw<float> {
    using Plan = fftwf_plan;
    using Complex = fftwf_complex;
    static void* allocate(std::size_t bytes) { return fftwf_malloc(bytes); }
    static void release(void* memory) { fftwf_free(memory); }
    static Plan planForward(int size, float* time, Complex* spectrum)
    {
        return fftwf_plan_dft_r2c_1d(size, time, spectrum, FFTW_ESTIMATE);
    }
    static Plan planInverse(int size, Complex* spectrum, float* time)
    {
        return fftwf_plan_dft_c2r_1d(size, spectrum, time, FFTW_ESTIMATE);
    }
    static void execute(Plan plan) { fftwf_execute(plan); }
    static void destroy(Plan plan) { fftwf_destroy_plan(plan); }
};

template <>
struct Fftw<double> {
    using Plan = fftw_plan;
    using Complex = fftw_complex;
    static void* allocate(std::size_t bytes) { return fftw_malloc(bytes); }
    static void release(void* memory) { fftw_free(memory); }
    static Plan planForward(int size, double* time, Complex* spectrum)
    {
        return fftw_plan_dft_r2c_1d(size, time, spectrum, FFTW_ESTIMATE);
    }
    static Plan planInverse(int size, Complex* spectrum, double* time)
    {
        return fftw_plan_dft_c2r_1d(size, spectrum, time, FFTW_ESTIMATE);
    }
    static void execute(Plan plan) { fftw_execute(plan); }
    static void destroy(Plan plan) { fftw_destroy_plan(plan); }
};

} // namespace

template <typename Sample>
struct RealFft<Sample>::Plans {
    using Library = Fftw<Sample>;

    explicit Plans(std::size_t transformSize) : size(transformSize)
    {
        const std::size_t numBins = size / 2 + 1;
        time = static_cast<Sample*>(Library::allocate(size * sizeof(Sample)));
        spectrum = static_cast<std::complex<Sample>*>(
            Library::allocate(numBins * sizeof(std::complex<Sample>)));
        if (time == nullptr || spectrum == nullptr) {
            Library::release(time);
            Library::release(spectrum);
            throw std::bad_alloc();
        }
        {
            const std::lock_guard guard(plannerLock());
            auto* raw = reinterpret_cast<typename Library::Complex*>(spectrum);
            forward = Library::planForward(static_cast<int>(size), time, raw);
            inverse = Library::planInverse(static_cast<int>(size), raw, time);
        }
        std::fill_n(time, size, Sample {});
        std::fill_n(spectrum, numBins, std::complex<Sample> {});
    }

    ~Plans()
    {
        {
            const std::lock_guard guard(plannerLock());
            Library::destroy(forward);
            Library::destroy(inverse);
        }
        Library::release(time);
        Library::release(spectrum);
    }

    Plans(const Plans&) = delete;
    Plans& operator=(const Plans&) = delete;

    std::size_t size;
    Sample* time = nullptr;
    std::complex<Sample>* spectrum = nullptr;
    typename Library::Plan forward = nullptr;
    typename Library::Plan inverse = nullptr;
};

template <typename Sample>
RealFft<Sample>::RealFft(std::size_t size) : plans(std::make_unique<Plans>(size))
{
    assert(size >= 2 && size % 2 == 0);
}

template <typename Sample>
RealFft<Sample>::~RealFft() = default;
template <typename Sample>
RealFft<Sample>::RealFft(RealFft&&) noexcept = default;
template <typename Sample>
RealFft<Sample>& RealFft<Sample>::operator=(RealFft&&) noexcept = default;

template <typename Sample>
std::size_t RealFft<Sample>::size() const noexcept
{
    return plans->size;
}

template <typename Sample>
std::span<Sample> RealFft<Sample>::time() noexcept
{
    return {plans->time, plans->size};
}

template <typename Sample>
std::span<std::complex<Sample>> RealFft<Sample>::spectrum() noexcept
{
    return {plans->spectrum, plans->size / 2 + 1};
}

template <typename Sample>
void RealFft<Sample>::forward() noexcept
{
    Plans::Library::execute(plans->forward);
}

template <typename Sample>
void RealFft<Sample>::inverse() noexcept
{
    Plans::Library::execute(plans->inverse);
    const Sample scale = Sample {1} / static_cast<Sample>(plans->size);
    for (Sample& sample : time())
        sample *= scale;
}

template class RealFft<float>;
template class RealFft<double>;

std::size_t fastFftSize(std::size_t minimum)
{
    std::size_t best = 2;
    while (best < minimum)
        best *= 2;
    for (std::size_t fives = 1; fives < best; fives *= 5)
        for (std::size_t threes = fives; threes < best; threes *= 3) {
            std::size_t candidate = threes * 2;
            while (candidate < minimum)
                candidate *= 2;
            best = std::min(best, candidate);
        }
    return best;
}

} // namespace saddletone::dsp
