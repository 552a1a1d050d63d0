#pragma once

#include "Core/Tuning/Element.h"

#include <vector>

namespace saddletone::test {

/** One of every kind of element, and every alignment and order of passes. */
[[nodiscard]] std::vector<tuning::Element> allElements();

} // namespace saddletone::test
