#include "Core/Measure/HammersteinFit.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Support/ChangedFile.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <functional>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using Complex = std::complex<double>;

namespace {

constexpr double rate = 48000.0;

/** A speaker whose harmonics are known at every frequency and amplitude, re the sine. */
using Truth = std::function<Complex(int order, double fundamentalHz, double amplitude)>;

Complex lowPass(double frequencyHz, double cornerHz)
{
    return 1.0 / Complex(1.0, frequencyHz / cornerHz);
}

Complex highPass(double frequencyHz, double cornerHz)
{
    const Complex s(0.0, frequencyHz / cornerHz);
    return s * s / (s * s + 1.4 * s + 1.0);
}

/** Powers with filters of their own behind them. */
Complex hammerstein(int order, double fundamentalHz, double amplitude)
{
    constexpr std::array coefficients {1.0, 0.3, -2.0, 0.6, -4.0};
    Complex sum;
    for (int power = order; power <= 5; power += 2)
        sum += measure::harmonicOfPower(order, power)
               * coefficients[static_cast<std::size_t>(power - 1)] * std::pow(amplitude, power - 1)
               * highPass(order * fundamentalHz, 40.0 + 5.0 * power)
               * lowPass(order * fundamentalHz, 15000.0 - 1500.0 * power);
    return sum;
}

/** A boost of 8 dB ahead of a polynomial. */
Complex boosted(int order, double fundamentalHz, double amplitude)
{
    const Complex s(0.0, fundamentalHz / 120.0);
    const Complex drive = (1.0 + 2.0 * s + s * s) / (1.0 + 0.8 * s + s * s);
    constexpr std::array coefficients {1.0, 0.12, -0.4, 0.5, -0.8};
    Complex sum;
    for (int power = order; power <= 5; power += 2)
        sum += measure::harmonicOfPower(order, power)
               * coefficients[static_cast<std::size_t>(power - 1)] * std::pow(amplitude, power - 1)
               * std::polar(std::pow(std::abs(drive), power), order * std::arg(drive))
               * highPass(order * fundamentalHz, 45.0) * lowPass(order * fundamentalHz, 12000.0);
    return sum;
}

/** The impulse of a spectrum, arrival at leadFrame, later by some frames. */
std::vector<float> impulseOf(const std::function<Complex(double)>& gainAt, std::size_t leadFrame,
                             std::size_t length, double laterFrames, double noise,
                             std::uint64_t seed)
{
    dsp::RealFft<double> fft(65536);
    for (std::size_t bin = 0; bin < fft.numBins(); ++bin) {
        const double frequencyHz =
            static_cast<double>(bin) * rate / static_cast<double>(fft.size());
        const double top = std::clamp((21500.0 - frequencyHz) / 1500.0, 0.0, 1.0);
        const double phase = -2.0 * std::numbers::pi * frequencyHz / rate
                             * (static_cast<double>(leadFrame) + laterFrames);
        fft.spectrum()[bin] =
            frequencyHz < 5.0 ? Complex() : gainAt(frequencyHz) * top * std::polar(1.0, phase);
    }
    fft.inverse();
    std::mt19937_64 generator(seed);
    std::normal_distribution<double> normal(0.0, noise);
    std::vector<float> impulse(length);
    for (std::size_t frame = 0; frame < length; ++frame)
        impulse[frame] =
            static_cast<float>(fft.time()[frame] + (noise > 0.0 ? normal(generator) : 0.0));
    return impulse;
}

struct TakeOptions {
    double driveDb = 0.0;     ///< Volume re the first take.
    double recorderDb = 0.0;  ///< Gain of the recorder.
    double laterFrames = 0.0; ///< Against the state's frame of arrival.
    double floorDb = -110.0;  ///< Of harmonics, re the fundamental.
    double harmonicsDb = 0.0; ///< A lie: harmonics louder than the speaker makes them.
};

/** What measureResponse() would say of a speaker driven by a sweep of -12 dBFS. */
measure::Response stateOf(const Truth& truth, const TakeOptions& options)
{
    const double amplitude = dsp::dbToAmplitude(-12.0 + options.driveDb);
    const double scale = dsp::dbToAmplitude(options.driveDb + options.recorderDb);
    measure::Response state;
    state.name = "at " + std::to_string(options.driveDb) + " dB";
    state.sampleRate = rate;
    state.arrivalFrame = 4800;
    state.fromHz = 22.4;
    state.toHz = 20000.0;
    state.impulse =
        impulseOf([&](double frequencyHz) { return scale * truth(1, frequencyHz, amplitude); },
                  state.arrivalFrame, 24000, options.laterFrames, 0.0, 1);
    state.harmonics.emplace();
    state.harmonics->driveDbfs = -12.0;
    state.harmonics->arrivalFrame = 1440;
    for (int order = 2; order <= 5; ++order) {
        state.harmonics->orders.push_back(impulseOf(
            [&](double frequencyHz) {
                return frequencyHz / order < 20.0
                           ? Complex()
                           : scale * dsp::dbToAmplitude(options.harmonicsDb)
                                 * truth(order, frequencyHz / order, amplitude);
            },
            1440, 13440, options.laterFrames, 0.0, 2));
        measure::HarmonicOrder told;
        told.order = order;
        for (const dsp::Band& band : dsp::thirdOctaveBands()) {
            if (band.centreHz < 22.0 || order * band.upperHz > 20000.0)
                continue;
            const double level =
                options.harmonicsDb
                + dsp::amplitudeToDb(std::abs(truth(order, band.centreHz, amplitude)
                                              / truth(1, band.centreHz, amplitude)));
            told.levels.push_back(
                {band.centreHz, std::max(level, options.floorDb), options.floorDb});
        }
        state.distortion.push_back(std::move(told));
    }
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        state.bands.push_back({.frequencyHz = band.centreHz, .snrDb = 70.0, .trusted = true});
    return state;
}

measure::HammersteinModel fit(const measure::HammersteinRequest& request)
{
    auto model = measure::fitHammerstein(request);
    if (!model)
        FAIL(model.error().message);
    return *std::move(model);
}

/** Largest error of harmonics 2 to 5 in dB, 50 Hz to 2 kHz, at levels between and at -12 to -20. */
double largestErrorDb(const measure::HammersteinModel& model, const Truth& truth)
{
    double largest = 0.0;
    for (const double driveDbfs : {-12.0, -14.0, -16.0, -18.0, -20.0})
        for (double frequencyHz = 50.0; frequencyHz <= 2000.0;
             frequencyHz *= std::exp2(1.0 / 3.0)) {
            const auto harmonics = model.harmonics(frequencyHz, driveDbfs);
            for (int order = 2; order <= 5; ++order)
                largest = std::max(
                    largest, std::abs(dsp::amplitudeToDb(std::abs(
                                 harmonics[static_cast<std::size_t>(order - 1)]
                                 / truth(order, frequencyHz, dsp::dbToAmplitude(driveDbfs))))));
        }
    return largest;
}

const measure::OrderSupport& orderOf(const measure::HammersteinModel& model, int order)
{
    return model.orders[static_cast<std::size_t>(order - 2)];
}

} // namespace

TEST_CASE("One model tells harmonics 2 to 5 within 1 dB at and between the measured levels",
          "[core][measure][overdrive]")
{
    const bool isBoosted = GENERATE(false, true);
    const Truth truth = isBoosted ? boosted : hammerstein;
    const auto model =
        fit({.name = "bench",
             .states = {stateOf(truth, {}), stateOf(truth, {.driveDb = -4.0, .laterFrames = 0.37}),
                        stateOf(truth, {.driveDb = -8.0, .laterFrames = -0.45})},
             .drivesDb = {}});
    CAPTURE(isBoosted);
    CHECK(largestErrorDb(model, truth) < 1.0);
    CHECK(model.driveFilter.empty() != isBoosted);
    REQUIRE(model.takes.size() == 3);
    CHECK(model.takes[2].driveDbfs == Approx(-20.0).margin(0.1));
    for (const measure::OrderSupport& order : model.orders) {
        CAPTURE(order.words);
        REQUIRE_FALSE(order.ranges.empty());
        CHECK(order.ranges.front().fromHz < 50.0);
        CHECK(order.ranges.back().toHz > 2000.0);
    }
}

TEST_CASE("Stated drives stand in for a recorder whose gain was changed",
          "[core][measure][overdrive]")
{
    const auto model = fit({.name = "bench",
                            .states = {stateOf(hammerstein, {}),
                                       stateOf(hammerstein, {.driveDb = -5.0, .recorderDb = 9.0})},
                            .drivesDb = {3.0, -2.0}});
    CHECK(largestErrorDb(model, hammerstein) < 1.0);
    CHECK(model.takes[1].driveDbfs == Approx(-17.0).margin(1e-9));
    CHECK(model.takes[1].driveIsStated);
}

TEST_CASE("An order in the noise is left out and the others are not", "[core][measure][overdrive]")
{
    // Harmonics 4 and 5 stand below -52 dB at the lower drive, 2 and 3 well above.
    const auto model = fit({.name = "bench",
                            .states = {stateOf(hammerstein, {.floorDb = -52.0}),
                                       stateOf(hammerstein, {.driveDb = -6.0, .floorDb = -52.0})},
                            .drivesDb = {}});
    CHECK_FALSE(orderOf(model, 2).ranges.empty());
    CHECK(orderOf(model, 5).ranges.empty());
    CHECK(orderOf(model, 5).words.find("does not stand above the noise") != std::string::npos);
    // Nothing of it is rendered: no kernel, no fifth harmonic.
    CHECK(std::ranges::all_of(model.kernels[4], [](float tap) { return tap == 0.0F; }));
    CHECK(dsp::amplitudeToDb(std::abs(model.harmonics(200.0, -12.0)[4])) < -200.0);
}

TEST_CASE("What cannot be told is refused with its reason", "[core][measure][overdrive]")
{
    const auto loud = stateOf(hammerstein, {});
    const auto soft = stateOf(hammerstein, {.driveDb = -6.0});
    const auto reasonOf = [](std::vector<measure::Response> states) {
        const auto model =
            measure::fitHammerstein({.name = "bench", .states = std::move(states), .drivesDb = {}});
        if (model)
            for (const measure::OrderSupport& order : model->orders)
                UNSCOPED_INFO(order.words);
        REQUIRE_FALSE(model);
        CHECK(model.error().code == dsp::ErrorCode::notTrustworthy);
        return model.error().message;
    };
    CHECK_THAT(reasonOf({loud}), Catch::Contains("one drive level only"));
    CHECK_THAT(reasonOf({loud, loud}), Catch::Contains("drive the speaker alike"));
    auto without = soft;
    without.harmonics.reset();
    CHECK_THAT(reasonOf({loud, without}), Catch::Contains("holds no harmonics"));
    // Noise only.
    CHECK_THAT(reasonOf({stateOf(hammerstein, {.floorDb = 0.0}),
                         stateOf(hammerstein, {.driveDb = -6.0, .floorDb = 0.0})}),
               Catch::Contains("does not stand above the noise"));
    // Harmonics that fall by 6 dB less than any power does: something else acts by level.
    CHECK_THAT(reasonOf({loud, stateOf(hammerstein, {.driveDb = -6.0, .harmonicsDb = 12.0})}),
               Catch::Contains("levels disagree"));
}

TEST_CASE("A model is the same after saving and loading, and a damaged one is refused",
          "[core][measure][overdrive]")
{
    const auto model = fit({.name = "bench",
                            .states = {stateOf(boosted, {}), stateOf(boosted, {.driveDb = -6.0})},
                            .drivesDb = {}});
    const test::TemporaryFolder folder;
    const auto file = folder.path() / "model.json";
    REQUIRE(measure::saveHammersteinModel(model, file));
    const auto loaded = measure::loadHammersteinModel(file);
    if (!loaded)
        FAIL(loaded.error().message);
    CHECK(loaded->name == model.name);
    CHECK(loaded->kernels == model.kernels);
    CHECK(loaded->driveFilter == model.driveFilter);
    CHECK(loaded->driveGainLinear == model.driveGainLinear);
    CHECK(loaded->takes == model.takes);
    CHECK(loaded->orders == model.orders);
    CHECK(loaded->arrivalFrame == model.arrivalFrame);
    const auto text = test::bytesOf(file);
    const auto refuse = [&](const std::string& from, const std::string& to,
                            const std::string& word) {
        test::checkRefused(folder, text, from, to, word, measure::loadHammersteinModel);
    };
    refuse("saddletone-overdrive", "saddletone-state", "kind");
    refuse("\"sampleRate\": 48000.0", "\"sampleRate\": 44100.0", "fit each other");
    refuse("\"driveGainLinear\": ", "\"driveGainLinear\": -", "driveGainLinear");
    refuse("\"poleQ\": ", "\"poleQ\": 1000", "poleQ");
    refuse("\"order\": 5", "\"order\": 6", "order");
    refuse("\"checksum\": \"", "\"checksum\": \"f", "checksum");
    refuse("\"file\": \"", "\"file\": \"../", "without folders");
    std::filesystem::remove(measure::kernelsPath(file));
    CHECK_THAT(measure::loadHammersteinModel(file).error().message, Catch::Contains("kernels"));
}
