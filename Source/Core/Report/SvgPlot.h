#pragma once

#include <optional>
#include <string>
#include <vector>

namespace saddletone::report {

/** Levels over frequency. */
struct Curve {
    std::string label;
    std::string mark; ///< One or two characters written on the line itself; empty = none.
    std::vector<double> frequenciesHz; ///< Ascending.
    std::vector<double> levelsDb;      ///< As many; a value that is not finite is a gap.

    bool operator==(const Curve&) const = default;
};

/** A graph of levels over a logarithmic frequency axis. */
struct SvgPlot {
    std::string id;    ///< Unique in the document: letters, digits and '-'.
    std::string title; ///< For readers who do not see the graph, with description.
    std::string description;
    std::string axisText = "Level in dB over frequency in Hz";
    double widthPx = 700.0;
    double heightPx = 240.0; ///< Without the legend below.
    double fromHz = 20.0;
    double toHz = 20000.0;
    /** The level axis covers at least this much, so that small ripple looks small. */
    double leastSpanDb = 20.0;
    double mostSpanDb = 60.0; ///< What lies deeper below the top is cut off.
    std::vector<Curve> areas; ///< Hatched down to the bottom; drawn first. Noise.
    std::vector<Curve> lines; ///< Told apart by dash, colour and mark; at most eight differ.
};

/** Ticks of a level axis. */
struct LevelAxis {
    double bottomDb = -10.0;
    double topDb = 10.0;
    double stepDb = 5.0;

    bool operator==(const LevelAxis&) const = default;
};

/** The axis for what a plot shows: round steps of 1, 2, 5, 10 or 20 dB, whole steps at both ends. */
[[nodiscard]] LevelAxis levelAxisOf(const SvgPlot& plot);

/** An <svg> element to stand in HTML. Sizes are in CSS pixels, so text is 10 pt in print as long as
    the page is as wide as the plot. */
[[nodiscard]] std::string renderSvg(const SvgPlot& plot);

} // namespace saddletone::report
