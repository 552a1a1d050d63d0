// Planning and transforming: what RealFft and FftStore cost beside FFTW by hand and beside scipy.
#include "Contests.h"
#include "Workshop.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/FftStore.h"

#include <algorithm>
#include <complex>
#include <memory>

#include <benchmark/benchmark.h>
#include <fftw3.h>
#include <nlohmann/json.hpp>

namespace saddletone::bench {

namespace {

/** A forward transform in single precision by FFTW itself. */
class PlainFftw {
public:
    PlainFftw(std::size_t size, unsigned effort)
        : time(fftwf_alloc_real(size)), spectrum(fftwf_alloc_complex(size / 2 + 1))
    {
        plan = fftwf_plan_dft_r2c_1d(static_cast<int>(size), time, spectrum, effort);
    }
    ~PlainFftw()
    {
        fftwf_destroy_plan(plan);
        fftwf_free(time);
        fftwf_free(spectrum);
    }
    PlainFftw(const PlainFftw&) = delete;
    PlainFftw& operator=(const PlainFftw&) = delete;

    void forward(const std::vector<float>& samples)
    {
        std::ranges::copy(samples, time);
        fftwf_execute(plan);
    }

    [[nodiscard]] std::complex<double> line(std::size_t index) const
    {
        return {static_cast<double>(spectrum[index][0]), static_cast<double>(spectrum[index][1])};
    }

private:
    float* time;
    fftwf_complex* spectrum;
    fftwf_plan plan;
};

/** A transform that is planned anew: FFTW remembers nothing of the last time. */
double secondsOfNewPlan(const std::vector<float>& samples, unsigned effort)
{
    fftwf_forget_wisdom();
    return secondsOf([&] {
        PlainFftw transform(samples.size(), effort);
        transform.forward(samples);
        ::benchmark::DoNotOptimize(transform.line(1));
    });
}

std::vector<double> partsOf(std::span<const std::complex<float>> spectrum)
{
    std::vector<double> parts;
    for (const std::complex<float> line : spectrum) {
        parts.push_back(static_cast<double>(line.real()));
        parts.push_back(static_cast<double>(line.imag()));
    }
    return parts;
}

void addSize(Contests& contests, Workshop& workshop, std::size_t size, bool planIsMeasured)
{
    const auto samples =
        std::make_shared<const std::vector<float>>(decayingNoise(size, 0.0, 0.1, size));
    const auto ours = std::make_shared<dsp::RealFft<float>>(size, dsp::FftDirections::forwardOnly);
    const auto store = std::make_shared<dsp::FftStore>();
    const auto estimated = std::make_shared<PlainFftw>(size, FFTW_ESTIMATE);
    const std::string name = std::to_string(size);
    const std::string file = workshop.folder / ("transform" + name);
    const std::string outcome = file + ".spectrum";
    writeNumbers(file, *samples);

    const auto forward = [samples](dsp::RealFft<float>& transform) {
        std::ranges::copy(*samples, transform.time().begin());
        transform.forward();
        ::benchmark::DoNotOptimize(transform.spectrum().data());
    };
    ScipyPeer& scipy = workshop.scipy;
    (void)scipy.ask({{"do", "load"}, {"file", file}, {"name", name}});
    (void)scipy.ask({{"do", "transform"}, {"name", name}, {"write", outcome}});
    forward(*ours);
    contests.hold("transform of " + name + ", scipy",
                  relativeErrorDb(partsOf(ours->spectrum()), readNumbers(outcome)), -120.0, "dB");

    const std::string kept = "transform of " + name + ", plan kept";
    contests.add(kept, "Saddletone", [=] { return secondsOf([&] { forward(*ours); }); });
    contests.add(kept, "FFTW, estimated",
                 [=] { return secondsOf([&] { estimated->forward(*samples); }); });
    if (planIsMeasured) {
        const auto measured = std::make_shared<PlainFftw>(size, FFTW_MEASURE);
        contests.add(kept, "FFTW, measured",
                     [=] { return secondsOf([&] { measured->forward(*samples); }); });
    }
    contests.add(kept, "SciPy", [&scipy, name] {
        return scipy.timed({{"do", "transform"}, {"name", name}});
    });

    const std::string once = "transform of " + name + ", asked for anew";
    contests.add(once, "Saddletone, from the store", [=] {
        return secondsOf(
            [&] { forward(*store->real<float>(size, dsp::FftDirections::forwardOnly)); });
    });
    contests.add(once, "Saddletone, without", [=] {
        fftwf_forget_wisdom();
        return secondsOf([&] {
            dsp::RealFft<float> transform(size, dsp::FftDirections::forwardOnly);
            forward(transform);
        });
    });
    contests.add(once, "FFTW, estimated",
                 [=] { return secondsOfNewPlan(*samples, FFTW_ESTIMATE); });
    if (planIsMeasured)
        contests.add(once, "FFTW, measured",
                     [=] { return secondsOfNewPlan(*samples, FFTW_MEASURE); });
}

} // namespace

void addTransforms(Contests& contests, Workshop& workshop)
{
    addSize(contests, workshop, 4096, true);
    addSize(contests, workshop, 65536, true);
    // That of a track of 30 s. Measuring a plan of this size takes longer than anybody waits.
    addSize(contests, workshop, 1600000, false);
}

} // namespace saddletone::bench
