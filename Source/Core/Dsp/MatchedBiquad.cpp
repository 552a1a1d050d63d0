#include "Core/Dsp/MatchedBiquad.h"

#include "Core/Dsp/LeastSquares.h"
#include "Core/Dsp/Polynomial.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

namespace saddletone::dsp {

namespace {

using Complex = std::complex<double>;

/** Up to here the fit counts in full: 20 kHz at 44.1 kHz. */
constexpr double fitTop = 20.0 / 44.1;
/** Above it there is little to hear, but the curve must not run away. */
constexpr double weightAboveTop = 0.02;
/** Below this power (-30 dB) a deviation counts less and less. */
constexpr double fullWeightPower = 1e-3;
constexpr double leastLevelWeight = 1e-4;
/** The least squares settle in a few rounds; those after them even out the largest errors. */
constexpr int numRounds = 16;
constexpr int numSettlingRounds = 3;

/** Zeros that are kept out of the fit. */
enum class FixedZeros { none, oneAtDc, twoAtDc, onAxis };

double powerAt(double c0, double c1, double c2, double ratio) noexcept
{
    const double square = ratio * ratio;
    const double even = c0 - c2 * square;
    return even * even + c1 * c1 * square;
}

struct GridPoint {
    double x;      ///< sin^2(w/2) over its value at the section's frequency.
    double power;  ///< |H|^2 of the prototype.
    double poles;  ///< |denominator|^2 of the prototype.
    double weight; ///< By frequency and level.
    bool counts;   ///< Within what the largest error is taken over.
};

double halfAngleSquare(double normalisedFrequency) noexcept
{
    const double sine = std::sin(std::numbers::pi * normalisedFrequency);
    return sine * sine;
}

void addResonance(double c0, double c1, double c2, double normalisedFrequency,
                  std::vector<double>& grid)
{
    if (!(c0 * c2 > 0.0))
        return;
    const double centre = normalisedFrequency * std::sqrt(c0 / c2);
    const double damping = std::min(std::abs(c1) / std::sqrt(c0 * c2), 1.0);
    for (const double step : {-4.0, -2.0, -1.0, -0.5, -0.25, 0.0, 0.25, 0.5, 1.0, 2.0, 4.0})
        if (const double place = centre * std::exp(step * damping); place < fitTop)
            grid.push_back(place);
}

std::vector<double> gridFrequencies(const AnalogueSection& section, double normalisedFrequency)
{
    std::vector<double> grid;
    constexpr int numLow = 24;
    constexpr double lowEnd = 0.08;
    const double lowest = std::min(normalisedFrequency / 30.0, 0.002);
    for (int point = 0; point < numLow; ++point)
        grid.push_back(lowest * std::pow(lowEnd / lowest, point / (numLow - 1.0)));
    constexpr int numHigh = 44;
    for (int point = 0; point < numHigh; ++point)
        grid.push_back(lowEnd + (fitTop - lowEnd) * (point + 1.0) / numHigh);
    constexpr int numAbove = 8;
    for (int point = 0; point < numAbove; ++point)
        grid.push_back(fitTop + (0.5 - fitTop) * (point + 1.0) / numAbove);
    // A narrow resonance of poles or zeros low down would slip through.
    addResonance(section.a0, section.a1, section.a2, normalisedFrequency, grid);
    addResonance(section.b0, section.b1, section.b2, normalisedFrequency, grid);
    return grid;
}

double valueOf(std::span<const double> polynomial, double x) noexcept
{
    double value = 0.0;
    for (std::size_t power = polynomial.size(); power-- > 0;)
        value = value * x + polynomial[power];
    return value;
}

/** |H|^2 as prefix(x) numerator(x) / denominator(x), powers from 0 up. */
struct PowerFit {
    std::vector<double> numerator;
    std::vector<double> denominator;
    double errorDb = std::numeric_limits<double>::infinity();
};

/** A polynomial in x as one in z, or nothing if it turns negative between 0 Hz and Nyquist. */
std::optional<std::vector<BiquadCoefficients>> factored(std::vector<double> polynomial,
                                                        double xAtNyquist)
{
    while (polynomial.size() > 1 && polynomial.back() == 0.0)
        polynomial.pop_back();
    if (!(polynomial.front() > 0.0))
        return {};
    std::vector<BiquadCoefficients> sections;
    if (polynomial.size() == 1)
        return sections;
    std::vector<double> realRoots;
    for (const Complex& root : polynomialRoots(polynomial)) {
        if (root.imag() == 0.0 && root.real() > 0.0 && root.real() < xAtNyquist)
            return {};
        // With z + 1/z = 2 - 4 sin^2(w/2), this is the one of the two z within the unit circle,
        // written so that nothing cancels next to z = 1.
        const Complex u = -root / xAtNyquist;
        const Complex sum = std::sqrt(1.0 + u) + std::sqrt(u);
        const Complex z = 1.0 / (sum * sum);
        if (!(std::abs(z) < 1.0))
            return {};
        if (root.imag() == 0.0)
            realRoots.push_back(z.real());
        else
            sections.push_back({1.0, -2.0 * z.real(), std::norm(z), 0.0, 0.0});
    }
    for (std::size_t index = 0; index < realRoots.size(); index += 2) {
        const double first = realRoots[index];
        const double second = index + 1 < realRoots.size() ? realRoots[index + 1] : 0.0;
        sections.push_back({1.0, -(first + second), first * second, 0.0, 0.0});
    }
    return sections;
}

class MagnitudeFit {
public:
    MagnitudeFit(const AnalogueSection& analogue, double rate)
        : section(analogue), sampleRate(rate), normalisedFrequency(section.frequencyHz / rate)
    {
        scale = halfAngleSquare(std::min(normalisedFrequency, 0.5));
        if (section.b0 == 0.0)
            fixed = section.b1 == 0.0 ? FixedZeros::twoAtDc : FixedZeros::oneAtDc;
        else if (section.b1 == 0.0 && section.b0 * section.b2 > 0.0) {
            const double zero = normalisedFrequency * std::sqrt(section.b0 / section.b2);
            if (zero < 0.4999) {
                fixed = FixedZeros::onAxis;
                zeroX = halfAngleSquare(zero) / scale;
                zeroCosine = std::cos(2.0 * std::numbers::pi * zero);
            }
        }
        for (const double place : gridFrequencies(section, normalisedFrequency)) {
            const double ratio = place / normalisedFrequency;
            const double poles = powerAt(section.a0, section.a1, section.a2, ratio);
            const double power =
                std::max(powerAt(section.b0, section.b1, section.b2, ratio) / poles, 1e-30);
            const double byLevel =
                std::clamp(std::sqrt(power / fullWeightPower), leastLevelWeight, 1.0);
            grid.push_back({halfAngleSquare(place) / scale, power, poles,
                            byLevel * (place <= fitTop ? 1.0 : weightAboveTop),
                            place <= fitTop && power > fullWeightPower});
        }
    }

    /** Fit with polynomials of a degree; the denominator's value at 0 Hz is 1. */
    [[nodiscard]] PowerFit fit(std::size_t degree) const
    {
        const std::size_t numNumerator = degree + 1 - numFixed();
        const std::size_t numUnknowns = numNumerator + degree;
        std::vector<double> divisor;
        std::vector<double> evenness(grid.size(), 1.0);
        for (const GridPoint& point : grid)
            divisor.push_back(point.poles);

        PowerFit best;
        for (int round = 0; round < numRounds; ++round) {
            // Linear in the unknowns: prefix N / power - D, over the D of the round before
            // (Sanathanan and Koerner, IEEE Trans. Automatic Control 8(1), 1963).
            LeastSquares system(grid.size(), numUnknowns);
            for (std::size_t index = 0; index < grid.size(); ++index) {
                const GridPoint& point = grid[index];
                const double rowScale = std::sqrt(point.weight * evenness[index]) / divisor[index];
                auto& row = system.row(index);
                double entry = rowScale * prefix(point.x) / point.power;
                for (std::size_t power = 0; power < numNumerator; ++power, entry *= point.x)
                    row[power] = entry;
                entry = -rowScale;
                for (std::size_t power = 0; power < degree; ++power)
                    row[numNumerator + power] = entry *= point.x;
                row[numUnknowns] = rowScale;
            }
            const auto solution = system.solve();
            PowerFit candidate;
            candidate.numerator.assign(
                solution.begin(), solution.begin() + static_cast<std::ptrdiff_t>(numNumerator));
            candidate.denominator = {1.0};
            candidate.denominator.insert(
                candidate.denominator.end(),
                solution.begin() + static_cast<std::ptrdiff_t>(numNumerator),
                solution.begin() + static_cast<std::ptrdiff_t>(numUnknowns));
            std::vector<double> errorsDb;
            candidate.errorDb = 0.0;
            for (std::size_t index = 0; index < grid.size(); ++index) {
                const GridPoint& point = grid[index];
                divisor[index] = std::abs(valueOf(candidate.denominator, point.x));
                const double power = prefix(point.x) * valueOf(candidate.numerator, point.x)
                                     / (divisor[index] * point.power);
                errorsDb.push_back(std::min(std::abs(powerToDb(std::abs(power))), 100.0));
                if (point.counts)
                    candidate.errorDb = std::max(candidate.errorDb, errorsDb.back());
            }
            if (candidate.errorDb < best.errorDb && isRealisable(candidate))
                best = candidate;
            // Lawson's weights: what errs most counts more in the next round.
            if (round + 1 >= numSettlingRounds) {
                double largest = 0.0;
                for (std::size_t index = 0; index < grid.size(); ++index) {
                    evenness[index] *= errorsDb[index] * std::min(grid[index].weight, 1.0)
                                           / std::max(candidate.errorDb, 1e-9)
                                       + 0.02;
                    largest = std::max(largest, evenness[index]);
                }
                for (double& value : evenness)
                    value /= largest;
            }
        }
        return best;
    }

    [[nodiscard]] std::vector<BiquadCoefficients> realised(const PowerFit& fitted) const
    {
        auto zeros = *factored(fitted.numerator, 1.0 / scale);
        const auto poles = *factored(fitted.denominator, 1.0 / scale);
        addFixedZeros(zeros);
        std::vector<BiquadCoefficients> sections(
            std::max({zeros.size(), poles.size(), std::size_t {1}}));
        for (std::size_t index = 0; index < zeros.size(); ++index) {
            sections[index].b1 = zeros[index].b1;
            sections[index].b2 = zeros[index].b2;
        }
        for (std::size_t index = 0; index < poles.size(); ++index) {
            sections[index].a1 = poles[index].b1;
            sections[index].a2 = poles[index].b2;
        }
        // The level is set where no fixed zero can lie.
        const bool atNyquist = fixed == FixedZeros::oneAtDc || fixed == FixedZeros::twoAtDc;
        const double x = atNyquist ? 1.0 / scale : 0.0;
        const double wanted =
            std::sqrt(prefix(x) * valueOf(fitted.numerator, x) / valueOf(fitted.denominator, x));
        const double atHz = atNyquist ? 0.5 * sampleRate : 0.0;
        double found = 1.0;
        for (const BiquadCoefficients& biquad : sections)
            found *= std::abs(biquad.response(atHz, sampleRate));
        BiquadCoefficients& first = sections.front();
        first.b0 = wanted / found;
        first.b1 *= first.b0;
        first.b2 *= first.b0;
        return sections;
    }

private:
    [[nodiscard]] std::size_t numFixed() const noexcept
    {
        return fixed == FixedZeros::none ? 0 : fixed == FixedZeros::oneAtDc ? 1 : 2;
    }

    [[nodiscard]] double prefix(double x) const noexcept
    {
        switch (fixed) {
        case FixedZeros::oneAtDc: return x;
        case FixedZeros::twoAtDc: return x * x;
        case FixedZeros::onAxis: return (x / zeroX - 1.0) * (x / zeroX - 1.0);
        case FixedZeros::none: break;
        }
        return 1.0;
    }

    [[nodiscard]] bool isRealisable(const PowerFit& fitted) const
    {
        return std::ranges::all_of(fitted.numerator, [](double v) { return std::isfinite(v); })
               && std::ranges::all_of(fitted.denominator, [](double v) { return std::isfinite(v); })
               && factored(fitted.numerator, 1.0 / scale)
               && factored(fitted.denominator, 1.0 / scale);
    }

    void addFixedZeros(std::vector<BiquadCoefficients>& zeros) const
    {
        switch (fixed) {
        case FixedZeros::oneAtDc:
            // A free real zero beside it shares the section.
            if (!zeros.empty() && zeros.back().b2 == 0.0)
                zeros.back() = {1.0, zeros.back().b1 - 1.0, -zeros.back().b1, 0.0, 0.0};
            else
                zeros.push_back({1.0, -1.0, 0.0, 0.0, 0.0});
            break;
        case FixedZeros::twoAtDc: zeros.insert(zeros.begin(), {1.0, -2.0, 1.0, 0.0, 0.0}); break;
        case FixedZeros::onAxis:
            zeros.insert(zeros.begin(), {1.0, -2.0 * zeroCosine, 1.0, 0.0, 0.0});
            break;
        case FixedZeros::none: break;
        }
    }

    AnalogueSection section;
    double sampleRate;
    double normalisedFrequency;
    double scale = 1.0;
    FixedZeros fixed = FixedZeros::none;
    double zeroX = 1.0;
    double zeroCosine = 0.0;
    std::vector<GridPoint> grid;
};

/** An all-pass turns by twice the angle of its denominator, seen from the middle of its delay. That
    angle is linear in the coefficients; the fit is of the angle, as weighted by the denominator of
    the round before. */
BiquadCoefficients fittedAllPass(const AnalogueSection& section, double sampleRate)
{
    const bool second = section.a2 != 0.0;
    const double normalisedFrequency = section.frequencyHz / sampleRate;
    std::vector<double> places = gridFrequencies(section, normalisedFrequency);
    std::erase_if(places, [](double place) { return place > fitTop; });
    std::vector<double> divisor(places.size(), 1.0);
    double a1 = 0.0;
    double a2 = 0.0;
    for (int round = 0; round < numRounds; ++round) {
        LeastSquares system(places.size(), second ? 2 : 1);
        for (std::size_t index = 0; index < places.size(); ++index) {
            const double ratio = places[index] / normalisedFrequency;
            const double angle =
                std::atan2(section.a1 * ratio, section.a0 - section.a2 * ratio * ratio);
            const double turn = 2.0 * std::numbers::pi * places[index] * (second ? 1.0 : 0.5);
            auto& row = system.row(index);
            row[0] = (second ? std::sin(angle) : std::sin(turn + angle)) / divisor[index];
            row[1] = (second ? std::sin(turn + angle) : std::sin(turn - angle)) / divisor[index];
            if (second)
                row[2] = std::sin(turn - angle) / divisor[index];
        }
        const auto solution = system.solve();
        a1 = solution[0];
        a2 = second ? solution[1] : 0.0;
        for (std::size_t index = 0; index < places.size(); ++index) {
            const Complex z = std::polar(1.0, -2.0 * std::numbers::pi * places[index]);
            divisor[index] = std::abs(1.0 + z * (a1 + z * a2));
        }
    }
    // Jury's conditions for poles within the unit circle.
    if (!(std::abs(a2) < 1.0 && std::abs(a1) < 1.0 + a2))
        return bilinearBiquad(section, sampleRate);
    return second ? BiquadCoefficients {a2, a1, 1.0, a1, a2}
                  : BiquadCoefficients {a1, 1.0, 0.0, a1, 0.0};
}

bool isAllPass(const AnalogueSection& section) noexcept
{
    return section.b0 == section.a0 && section.b1 == -section.a1 && section.b2 == section.a2;
}

} // namespace

BiquadCoefficients bilinearBiquad(const AnalogueSection& section, double sampleRate) noexcept
{
    const double normalisedFrequency = std::min(section.frequencyHz / sampleRate, 0.4998);
    const double k = 1.0 / std::tan(std::numbers::pi * normalisedFrequency);
    const double square = k * k;
    const double norm = 1.0 / (section.a0 + section.a1 * k + section.a2 * square);
    return {norm * (section.b0 + section.b1 * k + section.b2 * square),
            norm * 2.0 * (section.b0 - section.b2 * square),
            norm * (section.b0 - section.b1 * k + section.b2 * square),
            norm * 2.0 * (section.a0 - section.a2 * square),
            norm * (section.a0 - section.a1 * k + section.a2 * square)};
}

std::vector<BiquadCoefficients> matchedBiquads(const AnalogueSection& section, double sampleRate)
{
    if (section.b0 == section.a0 && section.b1 == section.a1 && section.b2 == section.a2)
        return {BiquadCoefficients {}};
    if (isAllPass(section))
        return {fittedAllPass(section, sampleRate)};
    const MagnitudeFit magnitude(section, sampleRate);
    const std::size_t degree = section.a2 == 0.0 ? 1 : 2;
    PowerFit fitted = magnitude.fit(degree);
    if (!(fitted.errorDb <= matchedToleranceDb))
        if (PowerFit finer = magnitude.fit(degree + 1); finer.errorDb < fitted.errorDb)
            fitted = std::move(finer);
    if (!std::isfinite(fitted.errorDb))
        return {bilinearBiquad(section, sampleRate)};
    return magnitude.realised(fitted);
}

double leadSamples(const AnalogueSection& section, std::span<const BiquadCoefficients> designed,
                   double sampleRate) noexcept
{
    // Low enough that less than half a turn is at stake.
    const double normalisedFrequency = 0.5 * std::min(section.frequencyHz / sampleRate, 0.25);
    Complex ratio = 1.0 / section.response(normalisedFrequency * sampleRate);
    for (const BiquadCoefficients& biquad : designed)
        ratio *= biquad.response(normalisedFrequency * sampleRate, sampleRate);
    return std::arg(ratio) / (2.0 * std::numbers::pi * normalisedFrequency);
}

} // namespace saddletone::dsp
