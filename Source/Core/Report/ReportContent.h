#pragma once

#include "Core/Audition/AuditionLevels.h"
#include "Core/Audition/EventRecord.h"
#include "Core/Dsp/ModelFigure.h"
#include "Core/Measure/Comparison.h"
#include "Core/Measure/Response.h"
#include "Core/Report/SpeedUnits.h"
#include "Core/Report/SvgPlot.h"
#include "Core/Ride/Helmet.h"
#include "Core/Tuning/TuningCost.h"

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::report {

/** One measured state of the bike. */
struct ReportState {
    std::string name;
    measure::BikeState conditions;
    std::string measuredOn; ///< Empty: not known.
    std::string microphone; ///< The same.
    std::size_t numTakes = 1;
    double snrDb = 0.0;                              ///< Lowest of the bands from 40 Hz to 16 kHz.
    double clockPpm = 0.0;                           ///< Recorder against player.
    std::optional<measure::Calibration> calibration; ///< Missing: levels are relative.
    measure::Flatness evenness;
    Curve curve; ///< Third octaves re the mean from 500 Hz to 2 kHz; gaps where not to be trusted.
    std::vector<double> uncertaintiesDb; ///< One standard deviation, one a point of the curve.
    /** Half of the widest 95 % interval of the bands that are trusted; none if none is. */
    std::optional<double> interval95Db;
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

/** What remains of a candidate on a ride. */
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
    std::string stateMark;          ///< Marks, or else names, of the states it rests on.
    std::string radioProfile;       ///< Of these states.
    tuning::Tuning tuning;          ///< Nothing in it: as measured.
    std::string settings;           ///< The same in words.
    std::vector<std::string> notes; ///< What else is heard of it, or how it was put together.
    bool isGroupEstimate = false;   ///< Speaker groups added in power.
    double largestBoostDb = 0.0;    ///< Of the settings, 20 Hz to 20 kHz; 0 if they boost nowhere.
    double largestBoostAtHz = 0.0;  ///< 0: about the same at all frequencies.
    measure::Flatness evenness;     ///< Computed from state and settings.
    Curve curve;                    ///< As ReportState::curve.
    audition::LevelSource levelSource = audition::LevelSource::assumed;
    std::vector<double> programmeSplDba; ///< At the ear, one a ride of the report.
    /** One a ride of the report; none where there is no noise. */
    std::vector<std::optional<ReportAudibility>> audibility;
    Curve octaveLevels; ///< At the ear, SPL of octaves of the reference programme.
};

/** Noise at one speed. */
struct ReportRide {
    double speedKmh = 0.0;
    std::optional<double> noiseSplDba; ///< At the ear; none when parked with the engine off.
    Curve noiseOctaveLevels;           ///< SPL at the ear; empty where there is no noise.
};

/** What the proposal asks of amplifier and speakers: estimates. */
struct ReportCost {
    std::string speakerName;
    bool speakerIsInvented = false;
    double xmaxMm = 0.0;
    double amplifierWatts = 0.0;
    bool amplifierIsAssumed = false;
    double plannedSplDb = 0.0;
    tuning::TuningCost cost;
    std::vector<std::string> sentences; ///< All that is to be said of it.
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
    bool isAbandoned = false;
};

/** Everything a report shows. */
struct ReportContent {
    std::string title;
    std::string question;
    std::string shop;
    std::string bike;
    std::string dateText; ///< As it is to be shown.
    bool invented = false;
    SpeedUnits speedUnits = SpeedUnits::both;
    std::string appendixFile; ///< Where the rest is said; empty: nowhere.
    std::string curvesFile;   ///< Where the curves are as numbers; empty: nowhere.

    std::vector<ReportState> states;
    std::vector<ReportComparison> comparisons;
    std::vector<std::string> comparisonNotes; ///< Why something was not compared.
    std::vector<std::string> remarks;         ///< On the measurements.
    std::string need;                         ///< What the bike takes at least, in a sentence.
    std::vector<std::string> needDetails;     ///< How that came about, and what it does not cover.
    std::vector<ReportCandidate> candidates;
    std::optional<std::size_t> proposal; ///< Of the candidates.
    std::optional<ReportCost> cost;      ///< Of the proposal.

    ride::Helmet helmet = ride::Helmet::fullFace;
    /** What the assumed levels rest on; see audition::SceneRequest. */
    double assumedProgrammeSplDba = 90.0;
    std::vector<ReportRide> rides; ///< Ascending speed; the last is drawn.
    bool noiseIsRecorded = false;  ///< Else it is modelled.
    bool noiseIsMeasured = false;  ///< Recorded and calibrated.
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
