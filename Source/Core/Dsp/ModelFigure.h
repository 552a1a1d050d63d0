#pragma once

#include <string>
#include <string_view>

namespace saddletone::dsp {

/** How well founded a figure of a model is. */
enum class FigureStatus { sourced, judgement, recorded };

[[nodiscard]] constexpr std::string_view figureStatusName(FigureStatus status) noexcept
{
    switch (status) {
    case FigureStatus::judgement: return "judgement";
    case FigureStatus::recorded: return "recorded";
    case FigureStatus::sourced: break;
    }
    return "sourced";
}

/** A figure that a result rests on, for an app or a report to show. */
struct ModelFigure {
    std::string name;
    std::string value; ///< With its unit.
    FigureStatus status = FigureStatus::judgement;
    std::string source; ///< Of a judgement: what it leans on.

    bool operator==(const ModelFigure&) const = default;
};

} // namespace saddletone::dsp
