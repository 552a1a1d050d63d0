#pragma once

#include <algorithm>
#include <cassert>
#include <cstddef>
#include <vector>

namespace saddletone::dsp {

/** How many standard deviations from its mean a normal value stays within in 95 of 100 cases: the
    0.975 quantile of the standard normal distribution. */
inline constexpr double normal95 = 1.95996;

/** The value in the middle, or the mean of the two in the middle. values: at least one, no NaN. */
[[nodiscard]] inline double medianOf(std::vector<double> values)
{
    assert(!values.empty());
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::ranges::nth_element(values, middle);
    if (values.size() % 2 == 1)
        return *middle;
    return 0.5 * (*middle + *std::max_element(values.begin(), middle));
}

} // namespace saddletone::dsp
