#include "Core/Signals/TrackSet.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/TextTable.h"

namespace saddletone::signals {

namespace {

std::string trackListHtml(const std::vector<Track>& tracks,
                          const std::vector<SignalDescription>& descriptions)
{
    std::string rows;
    for (std::size_t index = 0; index < tracks.size(); ++index) {
        const SignalDescription& description = descriptions[index];
        const bool silent = description.type == SignalType::silence;
        rows += "<tr><td>" + tracks[index].name + ".wav</td><td>"
                + files::fixedText(
                    static_cast<double>(description.numFrames) / description.sampleRate, 1)
                + " s</td><td>"
                + (silent ? std::string("–") : files::fixedText(description.levelDbfs, 1) + " dBFS")
                + "</td><td>" + tracks[index].purpose + "</td></tr>\n";
    }
    return R"(<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Saddletone track list</title>
<style>
body{font:15px/1.45 sans-serif;margin:2em auto;max-width:50em;color:#111;background:#fff}
table{border-collapse:collapse;width:100%}
th,td{border:1px solid #555;padding:.4em .6em;text-align:left;vertical-align:top}
.caution{border:2px solid #111;padding:.6em 1em;margin:1em 0}
@page{margin:18mm}
</style></head><body>
<h1>Test tracks</h1>
<div class="caution"><strong>Before you play them:</strong> start with the volume at its lowest and raise it slowly.
Test tones can damage speakers and amplifiers, and loud sound harms hearing; wear ear plugs near a loud bike.
Keep bystanders away from the speakers.</div>
<ol>
<li>Switch off sound enhancers, automatic volume and speed-dependent volume as far as the radio allows; set bass,
middle and treble to zero, balance and fader to the middle. Write down the radio's profile and the volume step.</li>
<li>Put the microphone where the rider's head is, pointing up. Switch off automatic gain in the recorder.</li>
<li>Play the level track and set the recorder so that its peaks stay between -20 and -6 dBFS.</li>
<li>Start recording, play the whole sweep track, stop recording. Do it once with the engine off and once with it
running.</li>
</ol>
<table><thead><tr><th>Track</th><th>Length</th><th>Level (AES17)</th><th>Purpose</th></tr></thead><tbody>
)" + rows + R"(</tbody></table>
</body></html>
)";
}

} // namespace

std::vector<Track> shopTracks(double sampleRate)
{
    const auto request = [sampleRate](SignalType type, double seconds, double levelDbfs) {
        SignalRequest made;
        made.type = type;
        made.sampleRate = sampleRate;
        made.seconds = seconds;
        made.levelDbfs = levelDbfs;
        return made;
    };
    std::vector<Track> tracks;
    Track level {"01-level", "Pink noise, 500 Hz to 2 kHz: set volume and recorder gain with it.",
                 request(SignalType::pink, 30.0, -20.0)};
    level.request.fromHz = 500.0;
    level.request.toHz = 2000.0;
    tracks.push_back(level);

    Track pink {"02-pink-noise",
                "Pink noise without a seam, for the analyser: reads flat in third octaves.",
                request(SignalType::pink, 60.0, -20.0)};
    pink.request.repetition = Repetition::periodic;
    pink.request.seed = 2;
    tracks.push_back(pink);

    tracks.push_back(
        {"03-sweep",
         "Sweep with a marker before and after it: what responses are measured with. Record "
         "it whole.",
         request(SignalType::sweep, 12.0, -12.0)});

    Track tone {"04-tone-1-khz", "Tone of 1 kHz, to check balance, fader and gain.",
                request(SignalType::sine, 15.0, -20.0)};
    tracks.push_back(tone);

    tracks.push_back({"05-silence", "Digital silence, to record the noise of the place.",
                      request(SignalType::silence, 20.0, -20.0)});
    return tracks;
}

dsp::Result<std::vector<std::filesystem::path>> writeTrackSet(const std::filesystem::path& folder,
                                                              double sampleRate)
{
    const auto tracks = shopTracks(sampleRate);
    std::vector<std::filesystem::path> written;
    std::vector<SignalDescription> descriptions;
    for (const Track& track : tracks) {
        const auto signal = makeSignal(track.request);
        if (!signal)
            return signal.unexpected();
        const auto file = folder / (track.name + ".wav");
        if (const auto saved = saveSignal(*signal, file, files::SampleFormat::pcm16); !saved)
            return saved.unexpected();
        written.push_back(file);
        descriptions.push_back(signal->description);
    }
    if (const auto saved =
            files::writeTextFile(folder / "track-list.html", trackListHtml(tracks, descriptions));
        !saved)
        return saved.unexpected();
    return written;
}

} // namespace saddletone::signals
