#include "Core/Signals/TrackSet.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/FilesUntilKept.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cmath>

namespace saddletone::signals {

namespace {

std::string minutesAndSeconds(double seconds)
{
    const long whole = std::lround(seconds);
    const std::string rest = std::to_string(whole % 60);
    return std::to_string(whole / 60) + ":" + (rest.size() < 2 ? "0" : "") + rest;
}

std::string levelText(const SignalDescription& description)
{
    if (description.type == SignalType::silence)
        return "–";
    const std::string level = files::fixedText(description.levelDbfs, 1) + " dBFS";
    return description.type == SignalType::gainSet ? "up to " + level : level;
}

std::string trackRow(const Track& track, const SignalDescription& description,
                     const std::string& fileName)
{
    const double seconds = static_cast<double>(description.numFrames) / description.sampleRate;
    return "<tr><td>" + fileName + "</td><td>" + minutesAndSeconds(seconds) + "</td><td>"
           + levelText(description) + "</td><td>" + track.purpose
           + (track.caution.empty() ? "" : " <strong>Caution:</strong> " + track.caution)
           + "</td></tr>\n";
}

/** What sounds when, so that a listener with the list in hand knows the band. */
std::string timeTable(const std::string& fileName, const SignalDescription& description)
{
    std::string entries;
    for (const SignalSegment& segment : description.segments) {
        entries += entries.empty() ? "" : ", ";
        entries +=
            minutesAndSeconds(static_cast<double>(segment.firstFrame) / description.sampleRate)
            + "&nbsp;" + segment.label;
        if (description.type == SignalType::gainSet)
            entries += " at " + files::fixedText(segment.levelDbfs, 0) + " dBFS";
    }
    return "<p><strong>" + fileName + ":</strong> " + entries + ".</p>\n";
}

std::string formatNote(files::FileType type)
{
    if (type != files::FileType::mp3)
        return {};
    return "<p>These are MP3 files of " + std::to_string(files::mp3BitRateKbps)
           + " kb/s, for radios that play nothing else. The coding changes levels and peaks a "
             "little, so that the levels in the table are nominal; it drops what lies above about "
             "20 kHz, and some players add "
           + std::to_string(files::mp3UntrimmedDelayFrames)
           + " samples of silence in front. Sweeps measure all the same. Where the radio plays WAV "
             "or FLAC, use those.</p>\n";
}

std::string trackListHtml(const std::vector<Track>& tracks,
                          const std::vector<SignalDescription>& descriptions, files::FileType type)
{
    std::string rows;
    std::string times;
    for (std::size_t index = 0; index < tracks.size(); ++index) {
        const SignalDescription& description = descriptions[index];
        const std::string fileName =
            tracks[index].name + "." + std::string(files::fileTypeName(type));
        rows += trackRow(tracks[index], description, fileName);
        if (description.type == SignalType::bands || description.type == SignalType::stepped
            || description.type == SignalType::gainSet)
            times += timeTable(fileName, description);
    }
    return R"(<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Saddletone track list</title>
<style>
body{font:15px/1.45 sans-serif;margin:2em auto;max-width:50em;color:#111;background:#fff}
table{border-collapse:collapse;width:100%}
th,td{border:1px solid #555;padding:.4em .6em;text-align:left;vertical-align:top}
tr{break-inside:avoid}
.caution{border:2px solid #111;padding:.6em 1em;margin:1em 0}
@page{margin:18mm}
</style></head><body>
<h1>Test tracks</h1>
<div class="caution"><strong>Before you play them:</strong> start with the volume at its lowest and raise it slowly.
Test tones can damage speakers and amplifiers, and loud sound harms hearing; wear ear plugs near a loud bike.
Keep bystanders away from the speakers, and never run an engine indoors without extraction.</div>
<ol>
<li>Switch off sound enhancers, automatic volume and speed-dependent volume as far as the radio allows; set bass,
middle and treble to zero, balance and fader to the middle. Write down the radio's profile and the volume step.</li>
<li>Put the microphone where the rider's head is, pointing up. Switch off automatic gain in the recorder.</li>
<li>Play the level track and set the recorder so that its peaks stay between -20 and -6 dBFS.</li>
<li>Start recording, play the whole sweep track, stop recording. Do it once with the engine off and once with it
running. The first four tracks are all that a measurement needs.</li>
</ol>
<table><thead><tr><th>Track</th><th>Length</th><th>Level (AES17)</th><th>What it is for</th></tr></thead><tbody>
)" + rows + R"(</tbody></table>
<p>Every track has a description beside it (.signal.json), which names its file; keep the two together. All tracks but
the channel track are mono and play on every speaker.</p>
)" + formatNote(type)
           + "<h2>What sounds when</h2>\n<p>Minutes and seconds from the start of the track.</p>\n"
           + times + "</body></html>\n";
}

Track driverTrack(const std::string& number, const DriverBand& band, std::uint64_t seed)
{
    const std::string name(band.name);
    SignalRequest request = usualRequest(SignalType::pink);
    request.seconds = 20.0;
    request.levelDbfs = band.levelDbfs;
    request.seed = seed;
    request.fromHz = band.fromHz;
    request.toHz = band.toHz;
    return {number + "-" + name + "-noise",
            "Pink noise from " + files::fixedText(band.fromHz, 0) + " to "
                + files::fixedText(band.toHz, 0) + " Hz, a careful band for a " + name
                + ": listen for buzz, rattle and silence, one speaker after another.",
            request,
            "the limits are judgement; where the speaker's maker gives limits, keep to those."};
}

} // namespace

std::vector<Track> shopTracks(double sampleRate)
{
    const auto request = [](SignalType type, double seconds) {
        SignalRequest made = usualRequest(type);
        made.seconds = seconds;
        return made;
    };
    std::vector<Track> tracks;
    tracks.push_back(
        {"01-level",
         "Pink noise from 500 Hz to 2 kHz, the band that the EBU sets listening levels "
         "in: set volume and recorder gain with it.",
         request(SignalType::level, 30.0)});
    tracks.push_back(
        {"02-channels",
         "Which speaker is which: 1 beep front left, 2 front right, 3 rear left, 4 rear right. "
         "Before the track, set the fader fully to the front: 1 beep must come from the front left "
         "speaker only and 2 from the front right. In the pause of five seconds move the fader "
         "fully to the rear: 3 beeps must come from the rear left and 4 from the rear right. The "
         "track does it all twice; move the fader back to the front in between, and to the middle "
         "at the end. Beeps from the wrong side: left and right are swapped; with a fader that "
         "works backwards, front and rear are.",
         request(SignalType::channels, 44.0)});
    tracks.push_back({"03-sweep",
                      "Sweep with a marker before and after it: what responses are measured with. "
                      "Record it whole.",
                      usualRequest(SignalType::sweep)});
    tracks.push_back({"04-silence",
                      "Digital silence: record it to know the noise of the place, and of the "
                      "engine when it runs.",
                      request(SignalType::silence, 20.0)});
    tracks.push_back({"05-polarity",
                      "A pulse of positive sign twice a second. In a recording close to a speaker, "
                      "the first excursion of each pulse goes up; where it goes down, that speaker "
                      "is wired the wrong way round. Check one speaker at a time.",
                      request(SignalType::polarity, 20.0)});

    Track pink {"06-pink-noise",
                "Pink noise without a seam, for the analyser: reads flat in third octaves.",
                request(SignalType::pink, 60.0)};
    pink.request.repetition = Repetition::periodic;
    pink.request.seed = 2;
    tracks.push_back(pink);

    tracks.push_back({"07-calibrated-pink-noise",
                      "Pink noise by SMPTE ST 2095-1, with that standard's level and peaks: for "
                      "comparing levels with others who use it.",
                      request(SignalType::calibratedPink, 30.0)});
    tracks.push_back({"08-warble-bands",
                      "A warble in each third octave from 25 Hz to 16 kHz, all of one level: read "
                      "a level meter band by band, or listen for bands that drop out.",
                      usualRequest(SignalType::bands),
                      "the lowest bands make small speakers move far; skip them where the speaker "
                      "complains."});
    tracks.push_back({"09-stepped-sine",
                      "A steady tone at each third octave from 25 Hz to 16 kHz: find rattles and "
                      "buzzing panels.",
                      usualRequest(SignalType::stepped),
                      "steady tones heat speakers; keep the volume low, above all from 2 kHz up, "
                      "where the small tweeters take it all."});
    tracks.push_back({"10-multitone",
                      "Tones all over the range at once with low peaks, repeating every 0.7 s: for "
                      "reading a response with an analyser at a glance.",
                      request(SignalType::multitone, 30.0)});
    std::uint64_t seed = 11;
    for (const DriverBand& band : driverBands) {
        tracks.push_back(driverTrack(std::to_string(seed), band, seed));
        ++seed;
    }
    tracks.push_back({"14-tone-1-khz", "Tone of 1 kHz, to check balance, fader and gain.",
                      request(SignalType::sine, 15.0)});
    tracks.push_back(
        {"15-gain-set",
         "Tones of 1 kHz and then 40 Hz, each at -10, -5 and 0 dBFS, for setting an amplifier's "
         "gain: raise the gain with an oscilloscope or a distortion meter at the amplifier's "
         "output until the tone of the level you set by just stays clean. Set by -5 or -10 dBFS "
         "where music is quieter than full scale; 0 dBFS is the loudest a file can hold.",
         usualRequest(SignalType::gainSet),
         "take the speakers off and put a load resistor in their place; full-scale tones destroy "
         "speakers within seconds."});
    for (Track& track : tracks)
        track.request.sampleRate = sampleRate;
    return tracks;
}

dsp::Result<void> checkTrackRate(double sampleRate, files::FileType type)
{
    if (std::ranges::find(signalSampleRates, sampleRate) == signalSampleRates.end())
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "sample rate " + files::fixedText(sampleRate, 0)
                             + " Hz is not offered; use 44100, 48000, 88200 or 96000");
    if (type == files::FileType::mp3
        && std::ranges::find(files::mp3SampleRates, sampleRate) == files::mp3SampleRates.end())
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "MP3 does not go up to " + files::fixedText(sampleRate, 0)
                             + " Hz; use 44100 or 48000, or WAV or FLAC");
    return {};
}

dsp::Result<std::vector<std::filesystem::path>> writeTrackSet(const std::filesystem::path& folder,
                                                              double sampleRate,
                                                              files::FileType type,
                                                              const TrackProgress& progress)
{
    if (const auto possible = checkTrackRate(sampleRate, type); !possible)
        return possible.unexpected();
    const auto tracks = shopTracks(sampleRate);
    std::vector<std::filesystem::path> written;
    std::vector<SignalDescription> descriptions;
    std::error_code ignored;
    const bool isNewFolder = !std::filesystem::exists(folder, ignored);
    files::FilesUntilKept made;
    for (const Track& track : tracks) {
        if (progress && !progress(written.size(), tracks.size())) {
            if (isNewFolder)
                made.add(folder); // after what is in it
            return std::vector<std::filesystem::path> {};
        }
        const auto signal = makeSignal(track.request);
        if (!signal)
            return signal.unexpected();
        const auto file = folder / (track.name + "." + std::string(files::fileTypeName(type)));
        for (const auto& each : {file, descriptionPath(file)})
            if (!std::filesystem::exists(each, ignored))
                made.add(each);
        if (const auto saved = saveSignal(*signal, file, files::SampleFormat::pcm16); !saved)
            return saved.unexpected();
        written.push_back(file);
        descriptions.push_back(signal->description);
    }
    if (const auto saved = files::writeTextFile(folder / "track-list.html",
                                                trackListHtml(tracks, descriptions, type));
        !saved)
        return saved.unexpected();
    made.keep();
    return written;
}

} // namespace saddletone::signals
