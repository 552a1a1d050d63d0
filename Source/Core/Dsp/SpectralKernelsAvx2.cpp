#include "Core/Dsp/SpectralKernelLoops.h"

namespace saddletone::dsp {

extern const SpectralKernels avx2SpectralKernels;
constexpr SpectralKernels avx2SpectralKernels = kernelsNamed<8>("AVX2");

} // namespace saddletone::dsp
