#include "Core/Files/AudioFile.h"

#include "Core/Dsp/Parallel.h"
#include "Core/Dsp/RandomSource.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Platform/Platform.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <numeric>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include <sndfile.h>

namespace saddletone::files {

namespace {

struct CloseSndfile {
    void operator()(SNDFILE* file) const noexcept { sf_close(file); }
};
using SndfileHandle = std::unique_ptr<SNDFILE, CloseSndfile>;

// Little enough for a processor's cache in stereo.
constexpr sf_count_t framesAtOnce = 8192;
/** Between two words of progress: some milliseconds of reading. */
constexpr std::size_t framesBetweenWords = 64 * static_cast<std::size_t>(framesAtOnce);

std::string quoted(const std::filesystem::path& file)
{
    return "'" + file.string() + "'";
}

/** Integer nearest to a number below 2^31 in magnitude, halves to the even one, as std::nearbyint()
    has it, which costs a call: beyond 2^52 a double has no fraction left. */
int nearestInteger(double number)
{
    constexpr double noFraction = 0x1.8p52;
    return static_cast<int>((number + noFraction) - noFraction);
}

/** Integers of numBits with triangular dither of two steps peak to peak, on the scale where 1.0 is
    2^(numBits-1); a full-scale positive sample lands on the largest integer. Every stride-th of output
    is written, left-aligned in 32 bits, as libsndfile takes them. */
void quantise(std::span<const float> samples, int numBits, dsp::RandomSource& random, int* output,
              std::size_t stride)
{
    const double scale = std::ldexp(1.0, numBits - 1);
    const int alignment = 1 << (32 - numBits);
    for (const float sample : samples) {
        const double dither = random.nextUniform() - random.nextUniform();
        const double number = static_cast<double>(sample) * scale + dither;
        *output = nearestInteger(std::clamp(number, -scale, scale - 1.0)) * alignment;
        output += stride;
    }
}

/** The container and the coding of a file to be written. */
int sndfileFormat(FileType type, SampleFormat format)
{
    if (type == FileType::mp3)
        return SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III;
    const int container = type == FileType::flac ? SF_FORMAT_FLAC : SF_FORMAT_WAV;
    switch (format) {
    case SampleFormat::pcm16: return container | SF_FORMAT_PCM_16;
    case SampleFormat::pcm24: return container | SF_FORMAT_PCM_24;
    case SampleFormat::float32: break;
    }
    return container | SF_FORMAT_FLOAT;
}

/** What a kind of file cannot hold. */
std::optional<dsp::Unexpected> checkFileType(const dsp::AudioBuffer& audio,
                                             const std::filesystem::path& file, FileType type,
                                             SampleFormat format)
{
    if (type == FileType::flac && format == SampleFormat::float32)
        return dsp::fail(dsp::ErrorCode::unsupported,
                         quoted(file) + ": FLAC holds 16 or 24 bits, not 32-bit float");
    if (type != FileType::mp3)
        return std::nullopt;
    if (std::ranges::find(mp3SampleRates, audio.sampleRate) == mp3SampleRates.end())
        return dsp::fail(dsp::ErrorCode::unsupported,
                         quoted(file) + ": MP3 holds 32000, 44100 or 48000 Hz at "
                             + std::to_string(mp3BitRateKbps) + " kb/s, not "
                             + std::to_string(std::lround(audio.sampleRate)) + " Hz");
    if (audio.numChannels() > 2)
        return dsp::fail(dsp::ErrorCode::unsupported, quoted(file)
                                                          + ": MP3 holds one or two channels, not "
                                                          + std::to_string(audio.numChannels()));
    return std::nullopt;
}

/** Constant, and the highest that layer III has: libsndfile spreads compression levels 0 to 1 over
    the bit rates of the layer from the highest to the lowest. The level comes first, as the mode
    applies it at once and fails while there is none. */
bool setHighestConstantBitRate(SNDFILE* file)
{
    int mode = SF_BITRATE_MODE_CONSTANT;
    double level = 0.0;
    return sf_command(file, SFC_SET_COMPRESSION_LEVEL, &level, sizeof(level)) == SF_TRUE
           && sf_command(file, SFC_SET_BITRATE_MODE, &mode, sizeof(mode)) == SF_TRUE;
}

/** Whether no sample is infinite or not a number. In lanes, which the compiler turns into vectors. */
bool allFinite(std::span<const float> samples) noexcept
{
    // The difference of a number to itself is zero, of all else not a number.
    constexpr std::size_t numLanes = 8;
    std::array<float, numLanes> lanes {};
    std::size_t index = 0;
    for (; index + numLanes <= samples.size(); index += numLanes)
        for (std::size_t lane = 0; lane < numLanes; ++lane)
            lanes[lane] += samples[index + lane] - samples[index + lane];
    float sum = std::accumulate(lanes.begin(), lanes.end(), 0.0F);
    for (; index < samples.size(); ++index)
        sum += samples[index] - samples[index];
    return sum == 0.0F;
}

/** Copies one channel of interleaved frames. */
void copyChannel(std::span<const float> interleaved, std::size_t channel, std::size_t numChannels,
                 float* to)
{
    const std::size_t numFrames = interleaved.size() / numChannels;
    const float* const from = interleaved.data() + channel;
    // A step known to the compiler lets it use vectors.
    if (numChannels == 1)
        std::copy_n(from, numFrames, to);
    else if (numChannels == 2)
        for (std::size_t frame = 0; frame < numFrames; ++frame)
            to[frame] = from[2 * frame];
    else
        for (std::size_t frame = 0; frame < numFrames; ++frame)
            to[frame] = from[frame * numChannels];
}

/** Whether a frame's place in the file follows from its number, so that parts can be read at once. */
bool isPlain(const SF_INFO& info) noexcept
{
    constexpr std::array containers {SF_FORMAT_WAV, SF_FORMAT_WAVEX, SF_FORMAT_AIFF, SF_FORMAT_W64,
                                     SF_FORMAT_RF64};
    constexpr std::array codings {SF_FORMAT_PCM_16, SF_FORMAT_PCM_24, SF_FORMAT_PCM_32,
                                  SF_FORMAT_FLOAT, SF_FORMAT_DOUBLE};
    return std::ranges::find(containers, info.format & SF_FORMAT_TYPEMASK) != containers.end()
           && std::ranges::find(codings, info.format & SF_FORMAT_SUBMASK) != codings.end();
}

/** Frames [begin, end) of a plain file into buffers that hold them; whether all came, and whether all
    samples are finite. */
struct PartRead {
    bool isWhole = false;
    bool isFinite = true;
};
PartRead readPart(const std::filesystem::path& file, const SF_INFO& expected, std::size_t begin,
                  std::size_t end, dsp::AudioBuffer& audio)
{
    SF_INFO info {};
    const SndfileHandle handle(sf_open(file.c_str(), SFM_READ, &info));
    if (handle == nullptr || info.frames != expected.frames || info.channels != expected.channels
        || info.format != expected.format
        || sf_seek(handle.get(), static_cast<sf_count_t>(begin), SEEK_SET)
               != static_cast<sf_count_t>(begin))
        return {};
    const std::size_t numChannels = audio.numChannels();
    std::vector<float> interleaved(static_cast<std::size_t>(framesAtOnce) * numChannels);
    PartRead read;
    while (begin < end) {
        const sf_count_t wanted = std::min(framesAtOnce, static_cast<sf_count_t>(end - begin));
        if (sf_readf_float(handle.get(), interleaved.data(), wanted) != wanted)
            return {};
        const auto count = static_cast<std::size_t>(wanted);
        const auto block = std::span(interleaved).first(count * numChannels);
        read.isFinite = read.isFinite && allFinite(block);
        for (std::size_t channel = 0; channel < numChannels; ++channel)
            copyChannel(block, channel, numChannels, audio.channels[channel].data() + begin);
        begin += count;
    }
    read.isWhole = true;
    return read;
}

/** Reads a plain file's parts at once; whether all samples are finite. None, and an empty buffer:
    the file is another, too short to be worth it, or does not hold what its header says. */
std::optional<bool> readInParts(const std::filesystem::path& file, const SF_INFO& info,
                                std::size_t maxFrames, dsp::AudioBuffer& audio)
{
    constexpr std::size_t framesPerPart = std::size_t {1} << 18U;
    const auto numFrames = static_cast<std::size_t>(std::max<sf_count_t>(info.frames, 0));
    // What the header claims, the file must be able to hold: two bytes a sample at least.
    std::error_code reason;
    const auto fileBytes = std::filesystem::file_size(file, reason);
    if (!isPlain(info) || numFrames < 2 * framesPerPart || numFrames > maxFrames || reason
        || fileBytes / 2 / audio.numChannels() < numFrames)
        return std::nullopt;
    dsp::runInParallel(audio.numChannels(),
                       [&](std::size_t channel) { audio.channels[channel].resize(numFrames); });
    const std::size_t numParts = (numFrames + framesPerPart - 1) / framesPerPart;
    std::vector<PartRead> parts(numParts);
    dsp::runInParallel(numParts, [&](std::size_t part) {
        parts[part] = readPart(file, info, part * framesPerPart,
                               std::min(numFrames, (part + 1) * framesPerPart), audio);
    });
    if (std::ranges::all_of(parts, &PartRead::isWhole))
        return std::ranges::all_of(parts, &PartRead::isFinite);
    for (auto& samples : audio.channels)
        samples.clear();
    return std::nullopt;
}

/** An audio file opened to be read. */
struct OpenedAudio {
    SndfileHandle handle;
    SF_INFO info {};
};

dsp::Result<OpenedAudio> openAudio(const std::filesystem::path& file, std::size_t maxChannels)
{
    std::error_code reason;
    if (!std::filesystem::exists(file, reason))
        return dsp::fail(dsp::ErrorCode::notFound,
                         "audio file " + quoted(file) + " does not exist");
    if (std::filesystem::is_directory(file, reason))
        return dsp::fail(dsp::ErrorCode::unreadable,
                         quoted(file) + " is a folder, not an audio file");
    OpenedAudio opened;
    SF_INFO& info = opened.info;
    opened.handle.reset(sf_open(file.c_str(), SFM_READ, &info));
    if (opened.handle == nullptr)
        return dsp::fail(dsp::ErrorCode::unreadable, "cannot read audio from " + quoted(file) + ": "
                                                         + sf_strerror(nullptr)
                                                         + " Use WAV, FLAC, AIFF, Ogg or MP3.");
    if (info.samplerate < 8000 || info.samplerate > 384000)
        return dsp::fail(dsp::ErrorCode::outOfRange, quoted(file) + " has a sample rate of "
                                                         + std::to_string(info.samplerate)
                                                         + " Hz; 8000 to 384000 Hz can be used");
    if (info.channels < 1 || static_cast<std::size_t>(info.channels) > maxChannels)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         quoted(file) + " has " + std::to_string(info.channels) + " channels; 1 to "
                             + std::to_string(maxChannels) + " can be used");
    return opened;
}

/** Reads from where the file stands to its end; whether all samples are finite. */
dsp::Result<bool> readInOrder(const OpenedAudio& opened, const std::filesystem::path& file,
                              const ReadLimits& limits, const ReadProgress& progress,
                              dsp::AudioBuffer& audio)
{
    SNDFILE* const handle = opened.handle.get();
    const auto claimed = static_cast<double>(std::max<sf_count_t>(opened.info.frames, 1));
    const std::size_t numChannels = audio.numChannels();
    const auto maxFrames = static_cast<std::size_t>(limits.maxSeconds * audio.sampleRate);
    std::vector<float> interleaved(static_cast<std::size_t>(framesAtOnce) * numChannels);
    bool isFinite = true;
    for (;;) {
        const sf_count_t got = sf_readf_float(handle, interleaved.data(), framesAtOnce);
        if (got <= 0)
            break;
        const std::size_t begin = audio.numFrames();
        const std::size_t end = begin + static_cast<std::size_t>(got);
        if (end > maxFrames)
            return dsp::fail(dsp::ErrorCode::outOfRange,
                             quoted(file) + " is longer than "
                                 + std::to_string(static_cast<long>(limits.maxSeconds))
                                 + " s; cut it to the part that is needed");
        const auto block =
            std::span(interleaved).first(static_cast<std::size_t>(got) * numChannels);
        isFinite = isFinite && allFinite(block);
        for (std::size_t channel = 0; channel < numChannels; ++channel) {
            audio.channels[channel].resize(end);
            copyChannel(block, channel, numChannels, audio.channels[channel].data() + begin);
        }
        if (progress && end % framesBetweenWords == 0
            && !progress(std::min(1.0, static_cast<double>(end) / claimed)))
            return dsp::fail(dsp::ErrorCode::unreadable, readCancelledMessage);
    }
    if (sf_error(handle) != SF_ERR_NO_ERROR)
        return dsp::fail(dsp::ErrorCode::unreadable,
                         "reading " + quoted(file) + " stopped: " + sf_strerror(handle));
    return isFinite;
}

dsp::Unexpected holdsNoAudio(const std::filesystem::path& file)
{
    return dsp::fail(dsp::ErrorCode::unreadable, quoted(file) + " holds no audio (zero length)");
}

} // namespace

std::string_view fileTypeName(FileType type) noexcept
{
    switch (type) {
    case FileType::flac: return "flac";
    case FileType::mp3: return "mp3";
    case FileType::wav: break;
    }
    return "wav";
}

dsp::Result<FileType> parseFileType(std::string_view name)
{
    for (const FileType type : {FileType::wav, FileType::flac, FileType::mp3})
        if (fileTypeName(type) == name)
            return type;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "file type '" + std::string(name) + "' is not known; use wav, flac or mp3");
}

FileType fileTypeOf(const std::filesystem::path& file)
{
    const std::string ending = file.extension().string();
    if (ending == ".flac")
        return FileType::flac;
    return ending == ".mp3" ? FileType::mp3 : FileType::wav;
}

std::string_view sampleFormatName(SampleFormat format) noexcept
{
    switch (format) {
    case SampleFormat::pcm16: return "16";
    case SampleFormat::pcm24: return "24";
    case SampleFormat::float32: break;
    }
    return "32f";
}

dsp::Result<SampleFormat> parseSampleFormat(std::string_view name)
{
    for (const SampleFormat format :
         {SampleFormat::pcm16, SampleFormat::pcm24, SampleFormat::float32})
        if (sampleFormatName(format) == name)
            return format;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "sample format '" + std::string(name) + "' is not known; use 16, 24 or 32f");
}

dsp::Result<AudioLength> readAudioLength(const std::filesystem::path& file)
{
    const auto opened = openAudio(file, ReadLimits {}.maxChannels);
    if (!opened)
        return opened.unexpected();
    const SF_INFO& info = opened->info;
    if (info.frames <= 0)
        return holdsNoAudio(file);
    return AudioLength {static_cast<double>(info.samplerate),
                        static_cast<std::size_t>(info.channels),
                        static_cast<std::size_t>(info.frames)};
}

dsp::Result<dsp::AudioBuffer> readAudioFile(const std::filesystem::path& file,
                                            const ReadLimits& limits, const ReadProgress& progress)
{
    const auto opened = openAudio(file, limits.maxChannels);
    if (!opened)
        return opened.unexpected();
    const SF_INFO& info = opened->info;
    const auto numChannels = static_cast<std::size_t>(info.channels);
    const auto maxFrames = static_cast<std::size_t>(limits.maxSeconds * info.samplerate);
    dsp::AudioBuffer audio = dsp::makeSilence(info.samplerate, numChannels, 0);
    // Growing by doubling would take half as much memory again. A header may claim any length, so it
    // is believed only as far as the file's size makes it likely.
    std::error_code reason;
    const auto fileBytes = std::filesystem::file_size(file, reason);
    if (!reason && info.frames > 0)
        for (auto& samples : audio.channels) {
            samples.reserve(std::min({static_cast<std::size_t>(info.frames), maxFrames,
                                      static_cast<std::size_t>(fileBytes) * 16 / numChannels}));
            platform::preferLargePages(samples.data(), samples.capacity() * sizeof(float));
        }
    bool isFinite = true;
    // What is to be told of, and maybe cancelled, is read in order.
    if (const auto inParts = progress ? std::nullopt : readInParts(file, info, maxFrames, audio)) {
        isFinite = *inParts;
    } else {
        const auto inOrder = readInOrder(*opened, file, limits, progress, audio);
        if (!inOrder)
            return inOrder.unexpected();
        isFinite = *inOrder;
    }
    if (audio.numFrames() == 0)
        return holdsNoAudio(file);
    for (std::size_t channel = 0; !isFinite && channel < numChannels; ++channel) {
        const auto& samples = audio.channels[channel];
        const auto bad =
            std::ranges::find_if(samples, [](float sample) { return !std::isfinite(sample); });
        if (bad != samples.end())
            return dsp::fail(dsp::ErrorCode::outOfRange,
                             quoted(file) + " holds a sample that is not a number (channel "
                                 + std::to_string(channel + 1) + ", frame "
                                 + std::to_string(bad - samples.begin()) + ")");
    }
    return audio;
}

dsp::Result<void> writeAudioFile(const dsp::AudioBuffer& audio, const std::filesystem::path& file,
                                 SampleFormat format, std::uint64_t ditherSeed)
{
    const FileType type = fileTypeOf(file);
    for (const auto& samples : audio.channels)
        for (const float sample : samples)
            if (!std::isfinite(sample)
                || (std::abs(sample) > 1.0F
                    && (type == FileType::mp3 || format != SampleFormat::float32)))
                return dsp::fail(dsp::ErrorCode::outOfRange,
                                 "audio for " + quoted(file)
                                     + " passes digital full scale; lower the level");

    if (const auto problem = checkFileType(audio, file, type, format))
        return *problem;

    auto output = AtomicFile::open(file);
    if (!output)
        return output.unexpected();

    SF_INFO info {};
    info.samplerate = static_cast<int>(std::lround(audio.sampleRate));
    info.channels = static_cast<int>(audio.numChannels());
    info.format = sndfileFormat(type, format);
    SndfileHandle handle(sf_open(output->temporaryPath().c_str(), SFM_WRITE, &info));
    if (handle == nullptr)
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot write audio to " + quoted(file) + ": " + sf_strerror(nullptr));
    // The PEAK chunk carries the time of day; without it the same samples give the same file.
    sf_command(handle.get(), SFC_SET_ADD_PEAK_CHUNK, nullptr, SF_FALSE);

    if (type == FileType::mp3 && !setHighestConstantBitRate(handle.get()))
        return dsp::fail(dsp::ErrorCode::unsupported,
                         "cannot write " + quoted(file) + " at a constant "
                             + std::to_string(mp3BitRateKbps)
                             + " kb/s: the sound file library lacks it; use WAV or FLAC");

    const std::size_t numChannels = audio.numChannels();
    std::vector<dsp::RandomSource> random;
    std::vector<bool> silent;
    for (std::size_t channel = 0; channel < numChannels; ++channel) {
        random.emplace_back(dsp::mixSeed(ditherSeed, channel));
        silent.push_back(
            std::ranges::all_of(audio.channels[channel], [](float s) { return s == 0.0F; }));
    }
    const int numBits = format == SampleFormat::pcm16 ? 16 : 24;
    const bool asFloats = type == FileType::mp3 || format == SampleFormat::float32;
    const std::size_t samplesAtOnce = static_cast<std::size_t>(framesAtOnce) * numChannels;
    std::vector<float> floats(asFloats ? samplesAtOnce : 0);
    std::vector<int> integers(asFloats ? 0 : samplesAtOnce); // Those of silent channels stay 0.
    for (std::size_t begin = 0; begin < audio.numFrames(); begin += framesAtOnce) {
        const std::size_t count = std::min<std::size_t>(framesAtOnce, audio.numFrames() - begin);
        for (std::size_t channel = 0; channel < numChannels; ++channel) {
            const auto samples = std::span(audio.channels[channel]).subspan(begin, count);
            if (asFloats)
                for (std::size_t frame = 0; frame < count; ++frame)
                    floats[frame * numChannels + channel] = samples[frame];
            else if (!silent[channel])
                quantise(samples, numBits, random[channel], integers.data() + channel, numChannels);
        }
        const auto wanted = static_cast<sf_count_t>(count);
        const sf_count_t written = asFloats ? sf_writef_float(handle.get(), floats.data(), wanted)
                                            : sf_writef_int(handle.get(), integers.data(), wanted);
        if (written != wanted)
            return dsp::fail(dsp::ErrorCode::cannotWrite,
                             "cannot write all of " + quoted(file)
                                 + "; check that the disk is not full");
    }
    if (sf_close(handle.release()) != 0)
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot finish " + quoted(file) + "; check that the disk is not full");
    return output->commit();
}

} // namespace saddletone::files
