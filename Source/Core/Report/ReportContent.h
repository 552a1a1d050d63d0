#pragma once

#include "Core/Audition/AuditionLevels.h"
#include "Core/Audition/EventRecord.h"
#include "Core/Dsp/ModelFigure.h"
#include "Core/Measure/Comparison.h"
#include "Core/Measure/Response.h"
#include "Core/Report/SvgPlot.h"
#include "Core/Ride/Helmet.h"

#include <optional>
#include <string>
#include <vector>

namespace saddletone::report {

/** One measured state of the bike. */
struct ReportState {
    std::string name;
    measure::BikeState conditions;
    std::size_t numTakes = 1;
    double snrDb = 0.0;                              ///< Lowest of the bands from 40 Hz to 16 kHz.
    double clockPpm = 0.0;                           ///< Recorder against player.
    std::optional<measure::Calibration> calibration; ///< Missing: levels are relative.
    measure::Flatness evenness;
    Curve curve; ///< Third octaves re the mean from 500 Hz to 2 kHz; gaps where not to be trusted.
    std::vector<double> uncertaintiesDb; ///< One standard deviation, one a point of the curve.
};

/** A state set against the parked state of the same radio profile. */
struct ReportComparison {
    std::string parkedName; ///< Marks, or else names, of the two states.
    std::string otherName;
    measure::BikeState other;
    measure::Comparison comparison;
    /** Known only where both states are calibrated. Other minus parked, mean 500 Hz to 2 kHz. */
    std::optional<double> levelDifferenceDb;
    std::vector<std::string> notes; ///< What else differed between the two.
};

/** What remains of a candidate on the last ride of a report. */
struct ReportAudibility {
    double shareOfScale = 0.0;    ///< Of the music's part of the ear's frequency scale.
    double shareOfLoudness = 0.0; ///< Of the music's loudness in quiet.
    double speechIndex = 0.0;     ///< Speech Intelligibility Index of spoken word as loud.
    /** More volume that lets most of it be heard; negative = to spare; none: not to be had. */
    std::optional<double> gainNeededDb;
    double powerRatio = 1.0; ///< Of that volume.
};

/** Something the customer may choose. */
struct ReportCandidate {
    std::string name;
    std::string stateMark;         ///< Mark, or else name, of the state it rests on.
    std::string settings;          ///< In words.
    double largestBoostDb = 0.0;   ///< Of the settings, 20 Hz to 20 kHz; 0 if they boost nowhere.
    double largestBoostAtHz = 0.0; ///< 0: about the same at all frequencies.
    measure::Flatness evenness;    ///< Computed from state and settings.
    Curve curve;                   ///< As ReportState::curve.
    audition::LevelSource levelSource = audition::LevelSource::assumed;
    std::vector<double> programmeSplDba;        ///< At the ear, one a ride of the report.
    std::optional<ReportAudibility> audibility; ///< None without noise.
    Curve octaveLevels; ///< At the ear, SPL of octaves of the reference programme.
};

/** Noise at one speed. */
struct ReportRide {
    double speedKmh = 0.0;
    std::optional<double> noiseSplDba; ///< At the ear; none when parked with the engine off.
};

/** A sound file made for the customer. */
struct ReportAuditionFile {
    std::string name;
    std::string words; ///< What is heard.
    /** How far below the road it plays, with the headphones set so that the parked bike is as loud
        as in life. Missing: its level has nothing to do with the bike's. */
    std::optional<double> belowRoadDb;
};

/** A blind test that was made. */
struct ReportBlindRun {
    std::string question;
    std::string candidates; ///< Their names.
    std::string outcome;    ///< In one line; of an abandoned run only that it was abandoned.
    std::string conditions;
};

/** Everything a report shows. */
struct ReportContent {
    std::string title;
    std::string question;
    std::string shop;
    std::string bike;
    std::string dateText; ///< As it is to be shown.
    bool invented = false;

    std::vector<ReportState> states;
    std::vector<ReportComparison> comparisons;
    std::vector<std::string> comparisonNotes; ///< Why something was not compared.
    std::vector<std::string> remarks;         ///< On the measurements.
    std::vector<ReportCandidate> candidates;

    ride::Helmet helmet = ride::Helmet::fullFace;
    /** What the assumed levels rest on; see audition::SceneRequest. */
    double assumedProgrammeSplDba = 90.0;
    std::vector<ReportRide> rides;          ///< Ascending speed; the last is drawn.
    std::optional<Curve> noiseOctaveLevels; ///< SPL at the ear on the last ride.
    bool noiseIsRecorded = false;           ///< Else it is modelled.
    bool noiseIsMeasured = false;           ///< Recorded and calibrated.
    std::vector<dsp::ModelFigure> noiseFigures;
    std::string exposureWords; ///< Of an hour of the last ride, with candidate 1; lines.

    std::vector<ReportBlindRun> blindRuns;
    std::vector<std::string> blindNotes; ///< How far the runs go.
    std::vector<audition::EventRecord> events;
    std::vector<ReportAuditionFile> auditionFiles;
    std::vector<std::string> cautions;
    std::vector<std::string> measured;  ///< What rests on a measurement, with its uncertainty.
    std::vector<std::string> estimated; ///< What does not, with its uncertainty.
};

} // namespace saddletone::report
