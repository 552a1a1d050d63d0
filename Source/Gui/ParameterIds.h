#pragma once

namespace saddletone::gui::parameterIds {

// Names of the host parameters. Hosts keep them in sessions: never change one.
inline constexpr const char* candidate = "candidate";         ///< 1 to 8.
inline constexpr const char* speedKmh = "speedKmh";           ///< 0 to 225.
inline constexpr const char* noiseTrimDb = "noiseTrimDb";     ///< -24 to 12.
inline constexpr const char* outputLevelDb = "outputLevelDb"; ///< -60 to 0.
inline constexpr const char* ceilingDbfs = "ceilingDbfs";     ///< -30 to -1.
inline constexpr const char* monitor = "monitor";             ///< Choice, see monitorChoices.
inline constexpr const char* levelMatch = "levelMatch";       ///< Choice, as audition::LevelMatch.
inline constexpr const char* helmet = "helmet";               ///< Choice, as ride::Helmet.
inline constexpr const char* screen = "screen";               ///< Choice, as ride::Screen.
inline constexpr const char* earPlugs = "earPlugs";           ///< Choice, as ride::EarPlugs.
inline constexpr const char* engineNoise = "engineNoise";     ///< Choice, as audition::EngineNoise.
inline constexpr const char* radioVolumeDb = "radioVolumeDb"; ///< -40 to 20.
/** 80 to 140 dB SPL of a full-scale sine at the ear; 80 = not known. */
inline constexpr const char* headphoneSplDb = "headphoneSplDb";
inline constexpr const char* ceilingDba = "ceilingDba"; ///< 60 to 100.
inline constexpr const char* bypass = "bypass";         ///< On: the programme untouched.

} // namespace saddletone::gui::parameterIds
