#include "Support/SweepTakes.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

namespace saddletone::test {

signals::Signal makeSweepTrack(double seconds, double sampleRate)
{
    signals::SignalRequest request;
    request.type = signals::SignalType::sweep;
    request.sampleRate = sampleRate;
    request.seconds = seconds;
    request.levelDbfs = -12.0;
    auto signal = signals::makeSignal(request);
    REQUIRE(signal);
    return std::move(*signal);
}

signals::Signal makeSmallSweepTrack(double seconds)
{
    constexpr double rate = 4000.0;
    const auto frames = [](double duration) { return static_cast<std::size_t>(duration * rate); };
    signals::SweepLayout layout;
    layout.sweep = {40.0, 1700.0, frames(seconds), frames(seconds / 40.0), frames(seconds / 300.0),
                    0.25};
    layout.marker = {300.0, 1500.0, 0.4, 0.25};
    layout.firstMarkerFrame = frames(0.25);
    layout.sweepFrame = layout.firstMarkerFrame + frames(1.4);
    layout.secondMarkerFrame = layout.sweepFrame + layout.sweep.numFrames + frames(2.0);
    signals::Signal track;
    track.description.type = signals::SignalType::sweep;
    track.description.sampleRate = rate;
    track.description.numFrames = layout.secondMarkerFrame + frames(0.7);
    track.description.sweepLayout = layout;
    std::vector<float> samples(track.description.numFrames, 0.0F);
    const auto place = [&](const std::vector<double>& part, std::size_t frame) {
        for (std::size_t index = 0; index < part.size(); ++index)
            samples[frame + index] += static_cast<float>(part[index]);
    };
    place(signals::makeMarker(layout.marker, rate), layout.firstMarkerFrame);
    place(signals::makeSweep(layout.sweep, rate), layout.sweepFrame);
    place(signals::makeMarker(layout.marker, rate), layout.secondMarkerFrame);
    track.audio = {rate, {samples}};
    return track;
}

measure::Response measureTakes(const signals::Signal& track, std::vector<measure::Recording> takes)
{
    measure::MeasurementRequest request;
    request.track = track.description;
    request.recordings = std::move(takes);
    auto response = measure::measureResponse(request);
    if (!response)
        FAIL(response.error().message);
    return std::move(*response);
}

measure::Recording asRecording(const std::vector<double>& sound, double sampleRate)
{
    const auto around = static_cast<std::size_t>(sampleRate);
    std::vector<float> samples(sound.size() + 2 * around, 0.0F);
    std::transform(sound.begin(), sound.end(),
                   samples.begin() + static_cast<std::ptrdiff_t>(around),
                   [](double sample) { return static_cast<float>(sample); });
    return {"take.wav", {sampleRate, {std::move(samples)}}};
}

double largestErrorDb(const measure::Response& response, double fromHz, double toHz, double gainDb)
{
    const SimulatedBike bike;
    std::vector<double> grid;
    for (double frequencyHz = fromHz; frequencyHz <= toHz; frequencyHz *= std::exp2(1.0 / 24.0))
        grid.push_back(frequencyHz);
    const auto levels = response.magnitudeDb(grid, 24);
    double largest = 0.0;
    for (std::size_t index = 0; index < grid.size(); ++index)
        largest =
            std::max(largest, std::abs(levels[index] - gainDb - bike.smoothedDb(grid[index], 24)));
    return largest;
}

double bikeBandDb(double centreHz)
{
    const SimulatedBike bike;
    constexpr int points = 2000;
    const double half = std::pow(10.0, 0.05);
    const double lower = centreHz / half;
    const double upper = centreHz * half;
    double sum = 0.0;
    for (int point = 0; point < points; ++point)
        sum += std::norm(bike.response(lower + (upper - lower) * (point + 0.5) / points));
    return 10.0 * std::log10(sum / points);
}

} // namespace saddletone::test
