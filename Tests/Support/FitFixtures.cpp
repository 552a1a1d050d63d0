#include "Support/FitFixtures.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/ImportedResponse.h"
#include "Core/Tuning/Element.h"

#include <cmath>
#include <complex>
#include <numbers>
#include <stdexcept>
#include <vector>

namespace saddletone::test {

measure::Response responseOf(const std::function<double(double)>& levelDbAt,
                             const std::string& name)
{
    files::FrequencyTable table;
    for (double step = 0.0; step <= 480.0; step += 1.0) {
        table.frequenciesHz.push_back(16.0 * std::pow(22500.0 / 16.0, step / 480.0));
        table.levelsDb.push_back(levelDbAt(table.frequenciesHz.back()));
    }
    measure::ImportSettings settings;
    settings.name = name;
    auto response = measure::importTable(table, settings);
    if (!response)
        throw std::runtime_error(response.error().message);
    return *response;
}

void trustOnly(measure::Response& response, double fromHz, double toHz)
{
    for (measure::BandConfidence& band : response.bands)
        band.trusted = band.trusted && band.frequencyHz >= fromHz && band.frequencyHz <= toHz;
}

tuning::FitCurve curveOf(const std::function<double(double)>& levelDbAt)
{
    tuning::FitCurve curve;
    curve.name = "curve";
    for (const dsp::Band& band : dsp::octaveBands(12, 40.0, 16000.0))
        curve.points.push_back({band.centreHz, levelDbAt(band.centreHz), 0.0, 1.0});
    return curve;
}

std::function<double(double)> unevenLevel(std::uint64_t seed)
{
    dsp::RandomSource random(seed);
    const auto between = [&](double lowest, double highest) {
        return lowest + (highest - lowest) * random.nextUniform();
    };
    std::vector<tuning::Element> elements(8);
    for (tuning::Element& element : elements) {
        element.type = tuning::ElementType::peaking;
        element.frequencyHz = 40.0 * std::pow(400.0, random.nextUniform());
        element.gainDb = between(-9.0, 9.0);
        element.q = between(0.6, 5.0);
    }
    elements[0].type = tuning::ElementType::highPass;
    elements[0].frequencyHz = between(40.0, 100.0);
    elements[1].type = tuning::ElementType::lowPass;
    elements[1].frequencyHz = between(8000.0, 18000.0);
    const double phase = between(0.0, 2.0 * std::numbers::pi);
    return [elements, phase](double frequencyHz) {
        std::complex<double> response = 1.0;
        for (const tuning::Element& element : elements)
            response *= tuning::elementResponse(element, frequencyHz);
        return dsp::amplitudeToDb(std::abs(response))
               + 0.7 * std::sin(9.0 * std::log(frequencyHz) + phase);
    };
}

} // namespace saddletone::test
