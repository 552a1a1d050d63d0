#include "Core/Dsp/SpectralKernels.h"

#include "Core/Dsp/SpectralKernelLoops.h"

namespace saddletone::dsp {

#ifdef SADDLETONE_X86_KERNELS
extern const SpectralKernels avx2SpectralKernels;
extern const SpectralKernels avx512SpectralKernels;
#endif

namespace {

constexpr SpectralKernels baselineKernels = kernelsNamed<4>("baseline");

} // namespace

std::vector<const SpectralKernels*> availableSpectralKernels()
{
    std::vector<const SpectralKernels*> sets {&baselineKernels};
#ifdef SADDLETONE_X86_KERNELS
    if (__builtin_cpu_supports("avx2") != 0)
        sets.push_back(&avx2SpectralKernels);
    if (__builtin_cpu_supports("avx512f") != 0 && __builtin_cpu_supports("avx512vl") != 0)
        sets.push_back(&avx512SpectralKernels);
#endif
    return sets;
}

const SpectralKernels& spectralKernels()
{
    return *availableSpectralKernels().back();
}

} // namespace saddletone::dsp
