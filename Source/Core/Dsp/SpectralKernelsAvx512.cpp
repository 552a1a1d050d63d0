#include "Core/Dsp/SpectralKernelLoops.h"

namespace saddletone::dsp {

extern const SpectralKernels avx512SpectralKernels;
constexpr SpectralKernels avx512SpectralKernels = kernelsNamed<16>("AVX-512");

} // namespace saddletone::dsp
