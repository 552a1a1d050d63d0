#pragma once

namespace saddletone::demo {

/** Second-order filter with low-, band- and high-pass outputs at once, trapezoidal integration
    (Zavalishin, The Art of VA Filter Design, 2012, chapter 4): stays stable while its frequency is
    swept. The band-pass has unity gain at the centre. */
class StateVariableFilter {
public:
    struct Outputs {
        double lowPass = 0.0;
        double bandPass = 0.0;
        double highPass = 0.0;
    };

    /** frequencyHz below half the rate, q above 0. */
    StateVariableFilter(double frequencyHz, double q, double sampleRate) noexcept;

    void tune(double frequencyHz, double q, double sampleRate) noexcept;

    [[nodiscard]] Outputs process(double input) noexcept
    {
        const double difference = input - secondState;
        const double band = feedGain * firstState + bandGain * difference;
        const double low = secondState + bandGain * firstState + lowGain * difference;
        firstState = 2.0 * band - firstState;
        secondState = 2.0 * low - secondState;
        return {low, damping * band, input - damping * band - low};
    }

private:
    double damping = 1.0;
    double feedGain = 0.0;
    double bandGain = 0.0;
    double lowGain = 0.0;
    double firstState = 0.0;
    double secondState = 0.0;
};

} // namespace saddletone::demo
