#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <vector>

namespace saddletone::test {

using Ears = std::array<std::vector<float>, 2>;

/** Renders the next frames of a noise for two ears in blocks of the lengths given, over and over. */
template <typename Noise>
[[nodiscard]] Ears render(Noise& noise, std::size_t numFrames,
                          const std::vector<std::size_t>& blocks = {512})
{
    Ears ears {std::vector<float>(numFrames), std::vector<float>(numFrames)};
    std::size_t done = 0;
    for (std::size_t block = 0; done < numFrames; ++block) {
        const std::size_t count = std::min(blocks[block % blocks.size()], numFrames - done);
        const std::array<float*, 2> pointers {ears[0].data() + done, ears[1].data() + done};
        noise.process({pointers.data(), 2, count});
        done += count;
    }
    return ears;
}

} // namespace saddletone::test
