#pragma once

#include <cstdint>

#if defined(__SSE2__) || defined(_M_X64)
#include <emmintrin.h>
#endif

namespace saddletone::dsp {

/** Makes this thread treat denormal numbers as zero for as long as the object lives. Every
    adapter holds one around process(), so that offline and real-time rendering round alike. */
class ScopedFlushDenormals {
public:
    ScopedFlushDenormals() noexcept : saved(read()) { write(saved | flushBits); }
    ~ScopedFlushDenormals() { write(saved); }
    ScopedFlushDenormals(const ScopedFlushDenormals&) = delete;
    ScopedFlushDenormals& operator=(const ScopedFlushDenormals&) = delete;

private:
#if defined(__SSE2__) || defined(_M_X64)
    static constexpr std::uint64_t flushBits = 0x8040; // flush-to-zero and denormals-are-zero
    static std::uint64_t read() noexcept
    {
        return _mm_getcsr();
    }
    static void write(std::uint64_t value) noexcept
    {
        _mm_setcsr(static_cast<unsigned>(value));
    }
#elif defined(__aarch64__)
    static constexpr std::uint64_t flushBits = 1ULL << 24U; // FPCR.FZ
    static std::uint64_t read() noexcept
    {
        std::uint64_t value = 0;
        asm volatile("mrs %0, fpcr" : "=r"(value));
        return value;
    }
    static void write(std::uint64_t value) noexcept
    {
        asm volatile("msr fpcr, %0" ::"r"(value));
    }
#else
    static constexpr std::uint64_t flushBits = 0;
    static std::uint64_t read() noexcept
    {
        return 0;
    }
    static void write(std::uint64_t) noexcept {}
#endif
    std::uint64_t saved;
};

} // namespace saddletone::dsp
