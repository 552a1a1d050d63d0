#include "Core/Dsp/SpectralKernelLoops.h"

#include <array>

namespace saddletone::dsp {

#ifdef SADDLETONE_X86_KERNELS
extern const SpectralKernels avx2SpectralKernels;
extern const SpectralKernels avx512SpectralKernels;
#endif

namespace {

constexpr SpectralKernels baselineKernels = kernelsNamed<4>("baseline");

struct Available {
    Available() noexcept
    {
        sets[count++] = &baselineKernels;
#ifdef SADDLETONE_X86_KERNELS
        if (__builtin_cpu_supports("avx2") != 0)
            sets[count++] = &avx2SpectralKernels;
        if (__builtin_cpu_supports("avx512f") != 0 && __builtin_cpu_supports("avx512vl") != 0)
            sets[count++] = &avx512SpectralKernels;
#endif
    }

    std::array<const SpectralKernels*, 3> sets {};
    std::size_t count = 0;
};

} // namespace

std::span<const SpectralKernels* const> availableSpectralKernels() noexcept
{
    static const Available available;
    return std::span(available.sets).first(available.count);
}

const SpectralKernels& spectralKernels() noexcept
{
    return *availableSpectralKernels().back();
}

} // namespace saddletone::dsp
