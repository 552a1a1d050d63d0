#include "Core/Dsp/Fft.h"

#include "Core/Platform/Platform.h"

#include <algorithm>
#include <cassert>
#include <limits>
#include <mutex>
#include <utility>

#include <fftw3.h>

namespace saddletone::dsp {

namespace {

/** FFTW's planner is not thread-safe; one lock serves both precisions. In a host there are others who
    plan: copies of this code in other plug-ins, with a lock of their own, and users of FFTW that have
    none. So FFTW is told to guard itself as well, which holds for all of them. */
std::mutex& plannerLock()
{
    static std::mutex lock;
    static const bool guardsItself = [] {
        fftw_make_planner_thread_safe();
        fftwf_make_planner_thread_safe();
        return true;
    }();
    static_cast<void>(guardsItself);
    return lock;
}

template <typename Sample>
struct Fftw;

template <>
struct Fftw<float> {
    using Plan = fftwf_plan;
    using Complex = fftwf_complex;
    static Plan planForward(int size, float* time, Complex* spectrum)
    {
        return fftwf_plan_dft_r2c_1d(size, time, spectrum, FFTW_ESTIMATE);
    }
    static Plan planInverse(int size, Complex* spectrum, float* time)
    {
        return fftwf_plan_dft_c2r_1d(size, spectrum, time, FFTW_ESTIMATE);
    }
    static Plan planComplexInverse(int size, Complex* values)
    {
        return fftwf_plan_dft_1d(size, values, values, FFTW_BACKWARD, FFTW_ESTIMATE);
    }
    static void forward(Plan plan, float* time, Complex* spectrum)
    {
        fftwf_execute_dft_r2c(plan, time, spectrum);
    }
    static void inverse(Plan plan, Complex* spectrum, float* time)
    {
        fftwf_execute_dft_c2r(plan, spectrum, time);
    }
    static void complexInverse(Plan plan, Complex* values)
    {
        fftwf_execute_dft(plan, values, values);
    }
    static void destroy(Plan plan) { fftwf_destroy_plan(plan); }
};

template <>
struct Fftw<double> {
    using Plan = fftw_plan;
    using Complex = fftw_complex;
    static Plan planForward(int size, double* time, Complex* spectrum)
    {
        return fftw_plan_dft_r2c_1d(size, time, spectrum, FFTW_ESTIMATE);
    }
    static Plan planInverse(int size, Complex* spectrum, double* time)
    {
        return fftw_plan_dft_c2r_1d(size, spectrum, time, FFTW_ESTIMATE);
    }
    static void forward(Plan plan, double* time, Complex* spectrum)
    {
        fftw_execute_dft_r2c(plan, time, spectrum);
    }
    static void inverse(Plan plan, Complex* spectrum, double* time)
    {
        fftw_execute_dft_c2r(plan, spectrum, time);
    }
    static void destroy(Plan plan) { fftw_destroy_plan(plan); }
};

/** Aligned memory, zeroed. */
template <typename Sample, typename Value>
class AlignedArray {
public:
    explicit AlignedArray(std::size_t count)
        : numBytes(count * sizeof(Value)),
          values(static_cast<Value*>(platform::allocateZeroed(numBytes)))
    {
    }
    ~AlignedArray() { platform::releaseMemory(values, numBytes); }
    AlignedArray(const AlignedArray&) = delete;
    AlignedArray& operator=(const AlignedArray&) = delete;

    [[nodiscard]] Value* get() const noexcept { return values; }
    [[nodiscard]] auto* raw() const noexcept
    {
        return reinterpret_cast<typename Fftw<Sample>::Complex*>(values);
    }

private:
    std::size_t numBytes;
    Value* values;
};

} // namespace

template <typename Sample>
struct RealFft<Sample>::Plans {
    using Library = Fftw<Sample>;

    Plans(int size, Sample* time, typename Library::Complex* spectrum, FftDirections directions)
    {
        const std::lock_guard guard(plannerLock());
        forward = Library::planForward(size, time, spectrum);
        if (directions == FftDirections::both)
            inverse = Library::planInverse(size, spectrum, time);
    }

    ~Plans()
    {
        const std::lock_guard guard(plannerLock());
        Library::destroy(forward);
        if (inverse != nullptr)
            Library::destroy(inverse);
    }

    Plans(const Plans&) = delete;
    Plans& operator=(const Plans&) = delete;

    typename Library::Plan forward = nullptr;
    typename Library::Plan inverse = nullptr;
};

template <typename Sample>
struct RealFft<Sample>::State {
    State(std::size_t transformSize, FftDirections directions)
        : size(transformSize),
          time(size),
          spectrum(size / 2 + 1),
          plans(std::make_shared<const Plans>(static_cast<int>(size), time.get(), spectrum.raw(),
                                              directions))
    {
    }

    State(std::size_t transformSize, std::shared_ptr<const Plans> sharedPlans)
        : size(transformSize), time(size), spectrum(size / 2 + 1), plans(std::move(sharedPlans))
    {
    }

    std::size_t size;
    AlignedArray<Sample, Sample> time;
    AlignedArray<Sample, std::complex<Sample>> spectrum;
    std::shared_ptr<const Plans> plans;
};

template <typename Sample>
RealFft<Sample>::RealFft(std::size_t size, FftDirections directions)
    : state(std::make_unique<State>(size, directions))
{
    assert(size >= 2 && size % 2 == 0);
}

template <typename Sample>
RealFft<Sample>::RealFft(std::unique_ptr<State> newState) : state(std::move(newState))
{
}

template <typename Sample>
RealFft<Sample>::~RealFft() = default;
template <typename Sample>
RealFft<Sample>::RealFft(RealFft&&) noexcept = default;
template <typename Sample>
RealFft<Sample>& RealFft<Sample>::operator=(RealFft&&) noexcept = default;

template <typename Sample>
RealFft<Sample> RealFft<Sample>::twin() const
{
    return RealFft(std::make_unique<State>(state->size, state->plans));
}

template <typename Sample>
std::size_t RealFft<Sample>::size() const noexcept
{
    return state->size;
}

template <typename Sample>
std::span<Sample> RealFft<Sample>::time() noexcept
{
    return {state->time.get(), state->size};
}

template <typename Sample>
std::span<std::complex<Sample>> RealFft<Sample>::spectrum() noexcept
{
    return {state->spectrum.get(), state->size / 2 + 1};
}

template <typename Sample>
void RealFft<Sample>::forward() noexcept
{
    Fftw<Sample>::forward(state->plans->forward, state->time.get(), state->spectrum.raw());
}

template <typename Sample>
void RealFft<Sample>::inverse() noexcept
{
    assert(state->plans->inverse != nullptr);
    Fftw<Sample>::inverse(state->plans->inverse, state->spectrum.raw(), state->time.get());
    const Sample scale = Sample {1} / static_cast<Sample>(state->size);
    for (Sample& sample : time())
        sample *= scale;
}

struct ComplexInverseFft::Plan {
    using Library = Fftw<float>;

    Plan(int size, Library::Complex* values)
    {
        const std::lock_guard guard(plannerLock());
        inverse = Library::planComplexInverse(size, values);
    }

    ~Plan()
    {
        const std::lock_guard guard(plannerLock());
        Library::destroy(inverse);
    }

    Plan(const Plan&) = delete;
    Plan& operator=(const Plan&) = delete;

    Library::Plan inverse = nullptr;
};

struct ComplexInverseFft::State {
    explicit State(std::size_t transformSize)
        : size(transformSize),
          values(size),
          plan(std::make_shared<const Plan>(static_cast<int>(size), values.raw()))
    {
    }

    State(std::size_t transformSize, std::shared_ptr<const Plan> sharedPlan)
        : size(transformSize), values(size), plan(std::move(sharedPlan))
    {
    }

    std::size_t size;
    AlignedArray<float, std::complex<float>> values;
    std::shared_ptr<const Plan> plan;
};

ComplexInverseFft::ComplexInverseFft(std::size_t size) : state(std::make_unique<State>(size))
{
    assert(size >= 2);
}

ComplexInverseFft::ComplexInverseFft(std::unique_ptr<State> newState) : state(std::move(newState))
{
}

ComplexInverseFft ComplexInverseFft::twin() const
{
    return ComplexInverseFft(std::make_unique<State>(state->size, state->plan));
}

ComplexInverseFft::~ComplexInverseFft() = default;
ComplexInverseFft::ComplexInverseFft(ComplexInverseFft&&) noexcept = default;
ComplexInverseFft& ComplexInverseFft::operator=(ComplexInverseFft&&) noexcept = default;

std::span<std::complex<float>> ComplexInverseFft::values() noexcept
{
    return {state->values.get(), state->size};
}

void ComplexInverseFft::inverse() noexcept
{
    Fftw<float>::complexInverse(state->plan->inverse, state->values.raw());
    const float scale = 1.0F / static_cast<float>(state->size);
    for (std::complex<float>& value : values())
        value *= scale;
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

std::size_t largeFftSize(std::size_t minimum)
{
    constexpr int costOfNoFive = 3; // in threes
    const std::size_t smallest = fastFftSize(minimum);
    const std::size_t largest = smallest + smallest / 25;
    std::size_t best = smallest;
    int least = std::numeric_limits<int>::max();
    std::size_t threes = 32;
    for (int numThrees = 0; threes <= largest; threes *= 3, ++numThrees) {
        std::size_t odd = threes;
        for (int numFives = 0; odd <= largest; odd *= 5, ++numFives) {
            std::size_t size = odd;
            while (size < smallest)
                size *= 2;
            const int cost = numThrees + (numFives > 0 ? 0 : costOfNoFive);
            if (size > largest || cost > least || (cost == least && size > best))
                continue;
            least = cost;
            best = size;
        }
    }
    return best;
}

} // namespace saddletone::dsp
