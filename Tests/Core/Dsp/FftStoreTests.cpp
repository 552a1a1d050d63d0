#include "Core/Dsp/FftStore.h"

#include <algorithm>
#include <complex>
#include <cstddef>
#include <thread>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

/** A spectrum with a line in every bin. */
template <typename Sample>
std::vector<std::complex<Sample>> transformOf(dsp::RealFft<Sample>& fft)
{
    for (std::size_t frame = 0; frame < fft.size(); ++frame)
        fft.time()[frame] = static_cast<Sample>((frame * 37) % 101) - Sample {50};
    fft.forward();
    return {fft.spectrum().begin(), fft.spectrum().end()};
}

} // namespace

TEST_CASE("A transform that was given back is lent again", "[core][dsp]")
{
    dsp::FftStore store;
    const dsp::RealFft<float>* first = nullptr;
    {
        const auto fft = store.real<float>(96);
        first = &*fft;
        CHECK(fft->size() == 96);
    }
    CHECK(&*store.real<float>(96) == first);
    CHECK(store.numTransforms() == 1);
    CHECK(store.real<float>(98)->size() == 98);
    CHECK(store.real<float>(96, dsp::FftDirections::forwardOnly)->size() == 96);
    CHECK(store.real<double>(96)->size() == 96);
    CHECK(store.complexInverse(96)->values().size() == 96);
    CHECK(store.numTransforms() == 5);
}

TEST_CASE("Transforms lent at the same time have memory of their own and give the same",
          "[core][dsp]")
{
    dsp::FftStore store;
    dsp::RealFft<double> alone(120);
    const auto expected = transformOf(alone);
    const auto one = store.real<double>(120);
    const auto other = store.real<double>(120);
    CHECK(store.numTransforms() == 2);
    CHECK(one->time().data() != other->time().data());
    CHECK(transformOf(*one) == expected);
    CHECK(transformOf(*other) == expected);
}

TEST_CASE("A loan that is moved goes back once", "[core][dsp]")
{
    dsp::FftStore store;
    {
        auto first = store.real<float>(64);
        auto second = store.real<float>(64);
        const auto* const kept = &*first;
        auto moved = std::move(first);
        CHECK(&*moved == kept);
        second = std::move(moved);
        CHECK(&*second == kept);
        // What second held before is free again.
        CHECK(&*store.real<float>(64) != kept);
        CHECK(store.numTransforms() == 2);
    }
    store.clear();
    CHECK(store.numTransforms() == 0);
}

TEST_CASE("Clearing a store leaves what is lent", "[core][dsp]")
{
    dsp::FftStore store;
    const auto fft = store.real<float>(80);
    static_cast<void>(store.real<float>(80, dsp::FftDirections::forwardOnly));
    store.clear();
    CHECK(store.numTransforms() == 1);
    dsp::RealFft<float> alone(80);
    CHECK(transformOf(*fft) == transformOf(alone));
}

TEST_CASE("A store lends to several threads at once", "[core][dsp]")
{
    dsp::FftStore store;
    dsp::RealFft<float> alone(240);
    const auto expected = transformOf(alone);
    std::vector<int> numWrong(4, 0);
    {
        std::vector<std::jthread> threads;
        for (int& wrong : numWrong)
            threads.emplace_back([&store, &expected, &wrong] {
                for (int round = 0; round < 200; ++round) {
                    const auto fft = store.real<float>(240);
                    wrong += transformOf(*fft) == expected ? 0 : 1;
                }
            });
    }
    CHECK(std::ranges::all_of(numWrong, [](int wrong) { return wrong == 0; }));
    CHECK(store.numTransforms() <= 4);
}
