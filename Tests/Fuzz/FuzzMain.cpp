// libFuzzer's way into one target: SADDLETONE_FUZZ_TARGET is the name of its function.
#include "Fuzz/FuzzTargets.h"

#include <cstddef>
#include <cstdint>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    saddletone::test::SADDLETONE_FUZZ_TARGET({data, size});
    return 0;
}
