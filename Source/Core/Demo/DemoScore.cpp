#include "Core/Demo/DemoScore.h"

#include <cassert>

namespace saddletone::demo {

namespace {

constexpr std::size_t firstBassBar = 2;
constexpr std::size_t firstChordBar = 4;
constexpr std::size_t firstBreakdownBar = 10;

// A drummer's grid reads in columns.
// clang-format off
constexpr std::string_view rest = "................";

constexpr DrumBar introBar {
    .kick      = "9.....5...8.....",
    .snare     = rest,
    .clap      = rest,
    .closedHat = "7.4.6.4.7.4.6.45",
    .openHat   = rest,
    .ride      = rest,
    .highTom   = rest,
    .lowTom    = rest,
};
constexpr DrumBar introBackbeatBar {
    .kick      = "9.....5...8..4..",
    .snare     = "....8..2....8..3",
    .clap      = rest,
    .closedHat = "7.4.6.4.7.4.6...",
    .openHat   = "..............6.",
    .ride      = rest,
    .highTom   = rest,
    .lowTom    = rest,
};
constexpr DrumBar grooveBar {
    .kick      = "9.....6...8.....",
    .snare     = "....9..2.2..9...",
    .clap      = rest,
    .closedHat = "7343634373436343",
    .openHat   = rest,
    .ride      = rest,
    .highTom   = rest,
    .lowTom    = rest,
};
constexpr DrumBar grooveOpenBar {
    .kick      = "9.....6...8..5..",
    .snare     = "....9..2....9..3",
    .clap      = rest,
    .closedHat = "73436343734363..",
    .openHat   = "..............7.",
    .ride      = rest,
    .highTom   = rest,
    .lowTom    = rest,
};
constexpr DrumBar fullBar {
    .kick      = "9.....6..58.....",
    .snare     = "....9..2.2..9...",
    .clap      = "....7.......7...",
    .closedHat = "..3...3...3...3.",
    .openHat   = rest,
    .ride      = "8.5.6.5.8.5.6.5.",
    .highTom   = rest,
    .lowTom    = rest,
};
constexpr DrumBar fullTurnBar {
    .kick      = "9.....6..58..5..",
    .snare     = "....9..2....9.46",
    .clap      = "....7.......7...",
    .closedHat = "..3...3...3.....",
    .openHat   = "..............7.",
    .ride      = "8.5.6.5.8.5.6.5.",
    .highTom   = rest,
    .lowTom    = rest,
};
constexpr DrumBar breakdownBar {
    .kick      = "7...............",
    .snare     = rest,
    .clap      = rest,
    .closedHat = rest,
    .openHat   = rest,
    .ride      = "6...4...5...4...",
    .highTom   = rest,
    .lowTom    = rest,
};
constexpr DrumBar fillBar {
    .kick      = "6...............",
    .snare     = "............6.79",
    .clap      = rest,
    .closedHat = rest,
    .openHat   = rest,
    .ride      = "5...4...5.......",
    .highTom   = "..........67....",
    .lowTom    = ".............88.",
};

constexpr std::array<DrumBar, numBars> drumBars {
    introBar, introBackbeatBar, grooveBar, grooveOpenBar, fullBar,      fullTurnBar,
    fullBar,  fullBar,          fullBar,   fullTurnBar,   breakdownBar, fillBar};

constexpr std::array<ChordBar, numBars> chordBars {{
    {28, {52, 55, 59, 62, 66}}, // Em9
    {28, {52, 55, 59, 62, 66}}, // Em9
    {28, {52, 55, 59, 62, 66}}, // Em9
    {36, {52, 55, 59, 62, 64}}, // Cmaj9
    {31, {50, 55, 59, 64, 69}}, // G6/9
    {33, {52, 55, 57, 61, 64}}, // A7
    {28, {52, 55, 59, 62, 66}}, // Em9
    {35, {50, 54, 57, 59, 66}}, // Bm7
    {36, {52, 55, 59, 62, 67}}, // Cmaj9
    {38, {52, 55, 57, 60, 67}}, // D9sus4
    {33, {52, 55, 59, 60, 67}}, // Am9
    {35, {52, 54, 57, 59, 66}}, // B7sus4
}};

constexpr std::array<BassStep, 6> steadyBass {{{0, 4.5, 0, 0.9},
                                               {6, 2, 0, 0.7},
                                               {8, 1.5, 7, 0.6},
                                               {10, 2.5, 0, 0.85},
                                               {13, 1, 0, 0.5},
                                               {14, 2, 7, 0.7}}};
constexpr std::array<BassStep, 8> movingBass {{{0, 3, 0, 0.95},
                                               {3, 1, 0, 0.5},
                                               {4, 1.5, 7, 0.7},
                                               {6, 3, 0, 0.85},
                                               {9, 1, 2, 0.6},
                                               {10, 2.5, 7, 0.85},
                                               {13, 1, 0, 0.6},
                                               {14, 2, 2, 0.75}}};
constexpr std::array<BassStep, 1> heldBass {{{0, 14, 0, 0.7}}};

constexpr std::array<MelodyNote, 24> melody {
    {{16.0, 0.75, 71, 0.85}, {16.75, 0.75, 74, 0.7}, {17.5, 1.5, 76, 0.9},
     {19.25, 0.25, 74, 0.6}, {19.5, 0.5, 71, 0.75},  {20.0, 1.25, 73, 0.9},
     {21.5, 0.5, 69, 0.7},   {22.0, 0.5, 71, 0.7},   {22.5, 1.25, 67, 0.85},
     {27.0, 0.25, 78, 0.55}, {27.25, 0.25, 79, 0.6}, {27.5, 0.5, 74, 0.65},
     {31.0, 0.5, 73, 0.6},   {31.5, 0.5, 78, 0.7},   {35.25, 0.25, 76, 0.6},
     {35.5, 0.5, 79, 0.7},   {38.5, 0.5, 72, 0.7},   {39.0, 0.5, 74, 0.75},
     {39.5, 0.5, 79, 0.8},   {40.0, 2.5, 76, 0.7},   {42.75, 0.5, 72, 0.5},
     {43.25, 0.75, 71, 0.5}, {44.0, 1.5, 69, 0.55},  {45.5, 1.5, 66, 0.45}}};

constexpr std::array<SungNote, 7> firstPhrase {
    {{0.0, 0.7, 59, 0.75, Vowel::father, Consonant::sibilant},
     {0.75, 0.7, 62, 0.8, Vowel::heed, Consonant::dentalStop},
     {1.5, 1.35, 64, 0.9, Vowel::hawed, Consonant::none},
     {4.0, 0.45, 62, 0.75, Vowel::head, Consonant::palatalStop},
     {4.5, 0.45, 61, 0.75, Vowel::hud, Consonant::none},
     {5.0, 0.9, 59, 0.8, Vowel::whod, Consonant::sibilant},
     {6.0, 0.9, 57, 0.8, Vowel::father, Consonant::breath}}};
constexpr std::array<SungNote, 9> secondPhrase {
    {{0.0, 0.45, 59, 0.8, Vowel::had, Consonant::dentalStop},
     {0.5, 0.45, 62, 0.8, Vowel::father, Consonant::none},
     {1.0, 0.95, 67, 0.95, Vowel::heed, Consonant::sibilant},
     {2.0, 1.1, 64, 0.85, Vowel::head, Consonant::palatalStop},
     {3.5, 0.45, 62, 0.75, Vowel::whod, Consonant::breath},
     {4.0, 0.95, 64, 0.9, Vowel::hawed, Consonant::dentalStop},
     {5.0, 0.45, 60, 0.8, Vowel::heed, Consonant::sibilant},
     {5.5, 0.45, 57, 0.8, Vowel::hud, Consonant::none},
     {8.0, 2.8, 59, 0.75, Vowel::father, Consonant::breath}}};
// clang-format on

constexpr std::array<SungPhrase, 2> phrases {
    {{24.0, std::span(firstPhrase)}, {32.0, std::span(secondPhrase)}}};

} // namespace

const DrumBar& drumBar(std::size_t bar)
{
    assert(bar < numBars);
    return drumBars[bar];
}

const ChordBar& chordBar(std::size_t bar)
{
    assert(bar < numBars);
    return chordBars[bar];
}

std::span<const BassStep> bassBar(std::size_t bar)
{
    if (bar < firstBassBar)
        return {};
    if (isBreakdown(bar))
        return heldBass;
    if (bar % 2 == 1)
        return movingBass;
    return steadyBass;
}

bool hasChords(std::size_t bar)
{
    return bar >= firstChordBar;
}

bool isBreakdown(std::size_t bar)
{
    return bar >= firstBreakdownBar;
}

std::span<const MelodyNote> leadMelody()
{
    return melody;
}

std::span<const SungPhrase> sungPhrases()
{
    return phrases;
}

} // namespace saddletone::demo
