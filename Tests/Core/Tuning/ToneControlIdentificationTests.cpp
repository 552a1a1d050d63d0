#include "Core/Tuning/ToneControlIdentification.h"

#include "Core/Dsp/Fft.h"
#include "Core/Measure/Measurement.h"
#include "Support/SimulatedBike.h"
#include "Support/SweepTakes.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>

#include <catch2/catch.hpp>

using namespace saddletone;
using tuning::ElementType;

namespace {

using Change = std::function<std::complex<double>(double frequencyHz)>;

/** A radio's control, written out anew from the prototypes of R. Bristow-Johnson's cookbook. */
struct TrueControl {
    ElementType type = ElementType::lowShelf;
    double frequencyHz = 100.0;
    double q = 0.7;
    double stepDb = 2.0;

    [[nodiscard]] std::complex<double> at(double frequency, int step) const
    {
        const std::complex<double> s(0.0, std::max(frequency, 1e-3) / frequencyHz);
        const double a = std::pow(10.0, step * stepDb / 40.0);
        if (type == ElementType::peaking)
            return (s * s + s * (a / q) + 1.0) / (s * s + s / (a * q) + 1.0);
        const auto low = s * s + s * (std::sqrt(a) / q) + a;
        const auto high = a * s * s + s * (std::sqrt(a) / q) + 1.0;
        return type == ElementType::lowShelf ? a * low / high : a * high / low;
    }
};

const signals::Signal& track()
{
    static const signals::Signal made = test::makeSweepTrack(3.0);
    return made;
}

const std::vector<double>& soundOfBike()
{
    static const std::vector<double> made =
        test::SimulatedBike().play(track().audio.channels.front(), 48000.0);
    return made;
}

/** Measures the simulated bike with a change in its radio: a recorder of its own clock, and noise. */
measure::Response measureWith(const Change& change, std::uint64_t seed, double gain = 1.0,
                              double noiseRms = 5e-3)
{
    auto sound = soundOfBike();
    dsp::RealFft<double> fft(dsp::fastFftSize(sound.size() + 48000));
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(sound, fft.time().begin());
    fft.forward();
    const auto size = static_cast<double>(fft.size());
    for (std::size_t bin = 0; bin < fft.numBins(); ++bin)
        fft.spectrum()[bin] *= change(static_cast<double>(bin) * 48000.0 / size);
    fft.inverse();
    std::copy_n(fft.time().begin(), sound.size(), sound.begin());
    test::RecorderModel recorder;
    recorder.clockPpm = 35.0;
    recorder.gain = gain;
    recorder.noiseRms = noiseRms;
    recorder.seed = seed;
    return test::measureTakes(track(),
                              {{"take", {48000.0, {test::record(sound, 48000.0, recorder)}}}});
}

measure::Response measureAt(const TrueControl& control, int step, std::uint64_t seed,
                            double noiseRms = 5e-3)
{
    return measureWith([&](double frequencyHz) { return control.at(frequencyHz, step); }, seed, 1.0,
                       noiseRms);
}

const tuning::ToneScale scale {"Bass", -6, 6};

void checkRefused(const std::vector<tuning::ToneSetting>& settings, const std::string& reason)
{
    const auto identified = tuning::identifyToneControl(settings, scale);
    REQUIRE_FALSE(identified);
    INFO(identified.error().message);
    CHECK(identified.error().message.find("Bass") != std::string::npos);
    CHECK(identified.error().message.find(reason) != std::string::npos);
}

} // namespace

TEST_CASE("A tone control is found again from two measurements of a simulated bike in noise",
          "[core][tuning]")
{
    struct Case {
        TrueControl control;
        int fromStep;
        int toStep;
    };
    // Third octaves stand 10 dB to 50 dB above it.
    constexpr double strongNoiseRms = 1.5e-2;
    std::uint64_t seed = 100;
    for (const Case& c : {Case {{ElementType::lowShelf, 100.0, 0.7071, 2.0}, 0, 5},
                          Case {{ElementType::lowShelf, 180.0, 0.5, 1.5}, 0, -6},
                          Case {{ElementType::highShelf, 6000.0, 0.7071, 2.0}, 0, -4},
                          Case {{ElementType::highShelf, 4000.0, 0.6, 1.0}, -6, 6},
                          Case {{ElementType::peaking, 900.0, 0.8, 1.5}, 0, 6},
                          Case {{ElementType::peaking, 80.0, 1.4, 2.0}, 2, -3},
                          Case {{ElementType::lowShelf, 100.0, 0.7071, 1.0}, -3, 2}}) {
        const std::vector<tuning::ToneSetting> settings {
            {measureAt(c.control, c.fromStep, seed, strongNoiseRms), c.fromStep},
            {measureAt(c.control, c.toStep, seed + 1, strongNoiseRms), c.toStep}};
        seed += 2;
        const auto identified = tuning::identifyToneControl(settings, scale);
        INFO(c.control.frequencyHz << " Hz, from " << c.fromStep << " to " << c.toStep);
        REQUIRE(identified);
        const tuning::ToneControl& found = identified->control;
        CAPTURE(found.frequencyHz, found.q, found.stepDb, identified->rmsDb,
                identified->expectedRmsDb);
        CHECK(found.type == c.control.type);
        CHECK(found.frequencyHz == Approx(c.control.frequencyHz).epsilon(0.05));
        CHECK(found.stepDb * (c.toStep - c.fromStep)
              == Approx(c.control.stepDb * (c.toStep - c.fromStep)).margin(0.2));
        CHECK(found.q == Approx(c.control.q).epsilon(0.10));
        // As far as it goes today: 0.5 % and 0.06 dB.
        CHECK(found.frequencyHz == Approx(c.control.frequencyHz).epsilon(0.01));
        CHECK(found.stepDb * (c.toStep - c.fromStep)
              == Approx(c.control.stepDb * (c.toStep - c.fromStep)).margin(0.1));
        CHECK(found.lowestStep() == -6);
        CHECK(found.highestStep() == 6);
        CHECK(found.status == tuning::ToneControlStatus::measured);
        // Nothing is left but noise, which the measurements' own uncertainty covers.
        CHECK(identified->rmsDb < identified->expectedRmsDb + 0.05);
        CHECK(identified->numBands >= 25);
        CHECK(identified->remarks.size() <= 1);
    }
}

TEST_CASE("More settings of a tone control pin it down further", "[core][tuning]")
{
    const TrueControl control {ElementType::highShelf, 5000.0, 0.7071, 2.0};
    const std::vector<tuning::ToneSetting> settings {{measureAt(control, 0, 1), 0},
                                                     {measureAt(control, -6, 2), -6},
                                                     {measureAt(control, 3, 3), 3},
                                                     {measureAt(control, 6, 4), 6}};
    const auto identified = tuning::identifyToneControl(settings, scale);
    REQUIRE(identified);
    CHECK(identified->control.type == ElementType::highShelf);
    CHECK(identified->control.frequencyHz == Approx(5000.0).epsilon(0.03));
    CHECK(identified->control.stepDb == Approx(2.0).margin(0.02));
    CHECK(identified->remarks.empty());
}

TEST_CASE("What no tone control explains is refused with its reason", "[core][tuning]")
{
    const TrueControl bass {ElementType::lowShelf, 100.0, 0.7071, 2.0};
    const TrueControl treble {ElementType::highShelf, 6000.0, 0.7071, 2.0};
    const auto reference = measureAt(bass, 0, 11);

    SECTION("the same step")
    {
        checkRefused({{reference, 0}, {measureAt(bass, 4, 12), 0}}, "both stand at step 0");
    }
    SECTION("a step that the control does not have")
    {
        checkRefused({{reference, 0}, {measureAt(bass, 4, 12), 8}}, "step 8");
    }
    SECTION("one measurement")
    {
        checkRefused({{reference, 0}}, "two steps");
    }
    SECTION("another profile")
    {
        auto moved = measureAt(bass, 4, 12);
        moved.state.radioProfile = "Touring";
        checkRefused({{reference, 0}, {moved, 4}}, "radio profile");
    }
    SECTION("a running engine")
    {
        auto moved = measureAt(bass, 4, 12);
        moved.state.engine = measure::EngineState::idle;
        checkRefused({{reference, 0}, {moved, 4}}, "engine");
    }
    SECTION("no difference")
    {
        checkRefused({{reference, 0}, {measureAt(bass, 0, 13), 4}}, "no more than they can tell");
    }
    SECTION("a difference in level alone")
    {
        checkRefused({{reference, 0}, {measureWith([](double) { return 1.0; }, 14, 0.5), 4}},
                     "no more than they can tell");
    }
    SECTION("a difference in level besides the control")
    {
        const TrueControl middle {ElementType::peaking, 1000.0, 1.0, 2.0};
        checkRefused(
            {{reference, 0}, {measureWith([&](double f) { return middle.at(f, 4); }, 15, 0.7), 4}},
            "the level differs by -3.1 dB");
    }
    SECTION("two controls moved at once, as a loudness switch does")
    {
        const auto both = [&](double f) { return bass.at(f, 4) * treble.at(f, 3); };
        checkRefused({{reference, 0}, {measureWith(both, 16), 4}},
                     "neither a shelf nor a peaking filter");
    }
    SECTION("steps the wrong way round")
    {
        checkRefused({{reference, 0}, {measureAt(bass, 4, 17), -4}}, "wrong way round");
    }
    SECTION("a frequency below everything that was measured")
    {
        const TrueControl deep {ElementType::lowShelf, 12.0, 0.5, 4.0};
        auto first = reference;
        auto moved = measureAt(deep, 5, 18);
        for (auto* response : {&first, &moved})
            for (auto& band : response->bands)
                band.trusted = band.trusted && band.frequencyHz > 39.0;
        checkRefused({{first, 0}, {moved, 5}}, "outside the trusted bands");
    }
    SECTION("too few bands that may be trusted")
    {
        auto moved = measureAt(bass, 4, 12);
        for (auto& band : moved.bands)
            band.trusted = band.trusted && band.frequencyHz < 300.0;
        checkRefused({{reference, 0}, {moved, 4}}, "can be trusted");
    }
}
