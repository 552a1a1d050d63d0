"""The steps of AnalysisContest.cpp in numpy and scipy, as somebody would write them there. What takes
time here is array work in compiled code; there is no loop over samples.
"""

import warnings

import numpy as np
from scipy import fft, signal
from scipy.io import wavfile

LEAD_SECONDS = 0.5
BEFORE_SECONDS, AFTER_SECONDS = 0.35, 0.6


def read(path):
    """Sample rate and samples in -1..1, one row a channel."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", wavfile.WavFileWarning)
        rate, samples = wavfile.read(path)
    scale = {"int16": 2.0**15, "int32": 2.0**31}.get(samples.dtype.name, 1.0)
    return rate, np.ascontiguousarray(samples.T, dtype=np.float64) / scale


def third_octaves():
    """Edges by IEC 61260-1, base ten: bands 13 (20 Hz) to 43 (20 kHz)."""
    band = np.arange(13, 44)
    return 10.0 ** ((band - 0.5) / 10.0), 10.0 ** ((band + 0.5) / 10.0)


def band_powers(power, bin_hz):
    """Power in third octaves; lines at the edges count in part."""
    edges_at = np.arange(power.size + 1) - 0.5
    below = np.concatenate(([0.0], np.cumsum(power)))
    lower, upper = third_octaves()
    return np.interp(upper / bin_hz, edges_at, below) - np.interp(lower / bin_hz, edges_at, below)


def analyse_bands(samples, rate):
    """AES17 levels of third octaves, mean power of the channels, from segments of about 10 s."""
    frames = samples.shape[1]
    size = fft.next_fast_len(-(-frames // -(-frames // (10 * rate))), real=True)
    padded = np.pad(samples, ((0, 0), (0, -frames % size)))
    spectra = fft.rfft(padded.reshape(samples.shape[0], -1, size))
    power = np.sum(spectra.real**2 + spectra.imag**2, axis=(0, 1))
    power *= 2.0 / (size * frames * samples.shape[0])
    return 10.0 * np.log10(2.0 * band_powers(power, rate / size))


def raised_cosine(position):
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(position, 0.0, 1.0))


def faded(samples, begin, end):
    samples[:begin] *= raised_cosine(np.arange(begin) / begin)
    samples[-end:] *= raised_cosine(np.arange(end) / end)[::-1]
    return samples


def make_marker(shape, rate):
    frames = round(shape["durationSeconds"] * rate)
    at = np.arange(frames) / rate
    chirp = signal.chirp(at, shape["fromHz"], frames / rate, shape["toHz"], phi=-90)
    return faded(chirp, frames // 10, frames // 10)


def make_sweep(shape, rate):
    seconds = np.arange(shape["numFrames"]) / rate
    length = shape["numFrames"] / rate / np.log(shape["toHz"] / shape["fromHz"])
    phase = 2.0 * np.pi * shape["fromHz"] * length * np.exp(seconds / length)
    sweep = shape["amplitude"] * np.sin(phase)
    return faded(sweep, shape["fadeInFrames"], shape["fadeOutFrames"])


def find_markers(samples, rate, layout, track_rate):
    """First marker's frame and the spacing of both, to a fraction of a frame."""
    shape = layout["marker"]
    marker = make_marker(shape, rate)
    sos = signal.butter(4, [shape["fromHz"], shape["toHz"]], "bandpass", fs=rate, output="sos")
    inside = signal.sosfilt(sos, samples)
    marker = signal.sosfilt(sos, marker)
    correlation = signal.oaconvolve(inside, marker[::-1], mode="valid")
    below = np.concatenate(([0.0], np.cumsum(inside**2)))
    energy = below[marker.size :] - below[: -marker.size]
    correlation = np.abs(correlation) / np.sqrt(np.maximum(energy, 1e-12) * np.sum(marker**2))
    peaks, heights = signal.find_peaks(correlation, height=0.2, distance=marker.size // 2)
    nominal = (layout["secondMarkerFrame"] - layout["firstMarkerFrame"]) * rate / track_rate
    spacing = peaks[None, :] - peaks[:, None]
    weaker = np.minimum(heights["peak_heights"][None, :], heights["peak_heights"][:, None])
    weaker[np.abs(spacing - nominal) > nominal * 1e-3 + 2.0] = 0.0
    first, second = np.unravel_index(np.argmax(weaker), weaker.shape)
    first, second = peaks[first], peaks[second]

    # The recorded markers against each other: the correlation's peak, then Newton on its phase.
    lead, length = int(0.1 * rate), int((shape["durationSeconds"] + 0.5) * rate)
    size = fft.next_fast_len(2 * length, real=True)
    window = faded(np.ones(length), lead, lead)
    spectra = [fft.rfft(inside[at - lead : at - lead + length] * window, size) for at in (first, second)]
    cross = np.conj(spectra[0]) * spectra[1]
    lag = np.argmax(fft.irfft(cross, size))
    lag = float(lag if lag < size / 2 else lag - size)
    omega = 2.0 * np.pi / size * np.arange(cross.size)
    for _ in range(20):
        turned = cross * np.exp(1j * omega * lag)
        move = -np.sum(omega * turned.imag) / np.sum(omega**2 * turned.real)
        lag += move
        if abs(move) < 1e-10:
            break
    return first, second - first + lag, nominal


def largest_factor(number):
    factor = 2
    while factor * factor <= number:
        if number % factor == 0:
            number //= factor
        else:
            factor += 1
    return number


def measure(samples, rate, track):
    """Impulse response, and level, noise and uncertainty of third octaves."""
    layout, track_rate = track["layout"], track["sampleRate"]
    loudest = samples[np.argmax(np.sum(samples**2, axis=1))]
    first, spacing, nominal = find_markers(loudest, rate, layout, track_rate)
    frames_between = layout["secondMarkerFrame"] - layout["firstMarkerFrame"]
    ratio = spacing / frames_between

    # The piece around the track, resampled to the track's clock. scipy has no resampler for any
    # ratio but that of two lengths: of those that come close to it, one that transforms quickly.
    lead = round(LEAD_SECONDS * rate)
    needed = int(np.ceil(spacing + (LEAD_SECONDS + layout["marker"]["durationSeconds"] + 0.5) * rate))
    lengths = np.unique([fft.next_fast_len(needed + step) for step in range(0, 131072, 64)])
    outputs = np.round(lengths / ratio).astype(int)
    close = np.abs(outputs * ratio / lengths - 1.0) < 1e-7
    lengths, outputs = lengths[close], outputs[close]
    best = np.argmin([largest_factor(length) for length in outputs])
    piece = np.zeros(lengths[best])
    take = loudest[max(0, first - lead) :][:needed]
    piece[: take.size] = take
    aligned = signal.resample(piece, outputs[best])
    start = round(lead / ratio)

    # Deconvolution by spectral division.
    sweep_start = start + layout["sweepFrame"] - layout["firstMarkerFrame"]
    pause_end = start + frames_between - round(0.05 * track_rate)
    before = round(0.3 * track_rate)
    length = pause_end - (sweep_start - before)
    sweep = make_sweep(layout["sweep"], track_rate)
    size = fft.next_fast_len(length + sweep.size, real=True)
    played = fft.rfft(np.concatenate((np.zeros(before), sweep)), size)
    recorded = aligned[sweep_start - before : pause_end].copy()
    fade = round(0.1 * track_rate)
    recorded[-fade:] *= raised_cosine(np.arange(fade) / fade)[::-1]
    frequency = np.arange(played.size) * track_rate / size
    with np.errstate(divide="ignore"):
        octaves = np.log2(frequency)
    shape = layout["sweep"]
    weight = raised_cosine((octaves - np.log2(0.8 * shape["fromHz"])) / 0.5)
    weight *= raised_cosine((np.log2(1.01 * shape["toHz"]) - octaves) / 0.05)
    energy = np.abs(played) ** 2
    regularised = energy + 1e-9 * np.max(energy)
    whole = fft.irfft(fft.rfft(recorded, size) * np.conj(played) * weight / regularised, size)

    reach = round(0.05 * track_rate)
    around = np.concatenate((whole[-reach:], whole[: reach + 1]))
    arrival = np.argmax(np.abs(around)) - reach
    num_before, num_after = round(BEFORE_SECONDS * track_rate), round(AFTER_SECONDS * track_rate)
    impulse = np.roll(whole, num_before - arrival)[: num_before + num_after]
    window = faded(np.ones(impulse.size), round(0.2 * track_rate), round(0.15 * track_rate))
    impulse = impulse * window

    # Noise from the pause behind the sweep, as it comes through the deconvolution.
    quiet = aligned[sweep_start + sweep.size + round(1.5 * track_rate) : pause_end]
    at, density = signal.welch(quiet, track_rate, nperseg=8192, detrend=False)
    impulse_size = fft.next_fast_len(impulse.size, real=True)
    bin_hz = track_rate / impulse_size
    power = np.abs(fft.rfft(impulse, impulse_size)) ** 2
    index = np.round(np.arange(power.size) / impulse_size * size).astype(int)
    noise = np.interp(frequency[index], at, density) * 0.5 * track_rate
    noise *= np.sum(window**2) * weight[index] ** 2 / regularised[index]
    lower, upper = third_octaves()
    lines = (upper - lower) / bin_hz
    level, floor = band_powers(power, bin_hz) / lines, band_powers(noise, bin_hz) / lines
    snr = np.maximum(level - floor, 1e-6 * level) / floor
    independent = np.maximum(1.0, (upper - lower) * 0.675)
    uncertainty = 10.0 / np.log(10.0) * np.sqrt(2.0 / (snr * independent))
    return {
        "clockPpm": (spacing / nominal - 1.0) * 1e6,
        "levelsDb": list(10.0 * np.log10(level)),
        "uncertaintiesDb": list(uncertainty),
    }
