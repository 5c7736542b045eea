"""The pitch of held notes in a recording: periods by YIN, then spectral refinement, and both must agree."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from qc.stats import Floats, Tabled
from qc.trade.errors import TradeError
from qc.trade.sound.acoustics import CENTS_PER_NEPER, ISO_16_A4_HZ, nearest_note, note_name

LOWEST_HZ, HIGHEST_HZ = 25.0, 1200.0
"""Range of slide-brass fundamentals: below the contrabass pedal to above the alto's highest notes."""

YIN_THRESHOLD = 0.15
"""First dip of the normalised difference below this is the period (0.1 to 0.15 as published in 2002)."""

SHORTEST_STEADY_S = 0.4
"""Steady part a note must hold: common practice, no source."""

NOISIEST = 0.2
"""Mean depth of the dip (0 = pure period, 1 = noise) beyond which a note is refused: trial on tones."""

WIDEST_VIBRATO_CENTS = 80.0
"""Width (middle 95 %) of the pitch track beyond which a level means little: common practice, no source."""

MOST_APART_CENTS = 5.0
"""How far the two estimates may lie apart: trial on synthetic tones."""

_HOP_S = 0.01  # chosen: a vibrato of 4 to 7 Hz is then followed
_EDGE_S = 0.08  # attack and release settle within this: common practice
_SPLIT_CENTS = 60.0  # a step this large, held, is a new note
_GAP_S = 0.05
_STEP_S = 0.25  # each side of a step; one swing of a slow vibrato
_HARMONICS = 12  # chosen: higher ones are weak on brass and say little more
_CHUNK = 256  # frames worked on at once, so that a long recording does not fill the memory


@dataclass(frozen=True, slots=True)
class HeldNote(Tabled):
    """One held note of a recording.

    Parameters
    ----------
    start_s, end_s : float
        Where it sounds. [s]
    hz, cents, spread_cents : float or None
        Pitch, its deviation from the nearest tempered note, and the spread of the pitch track; None if
        refused.
    note : str
        Nearest tempered note, empty when refused.
    refused : str
        Why it gives no figure; empty when it does.
    """

    start_s: float
    end_s: float
    hz: float | None
    cents: float | None
    spread_cents: float | None
    note: str
    refused: str


def held_notes(samples: Floats, rate_hz: float, a4_hz: float = ISO_16_A4_HZ) -> list[HeldNote]:
    """Find the held notes of a recording and their pitch.

    Parameters
    ----------
    samples : array, shape (n,) or (n, channels)
        Sound; of several channels the loudest is taken.
    rate_hz : float
        Sampling rate, at least 8000. [Hz]
    a4_hz : float
        Tuner's A4. [Hz]

    Returns
    -------
    list of HeldNote
        In order of time, each with a pitch or a reason for refusal.

    Raises
    ------
    TradeError
        Silence, too low a rate, or samples that are not finite.

    References
    ----------
    .. [1] A. de Cheveigne, H. Kawahara, "YIN, a fundamental frequency estimator for speech and music",
       J. Acoust. Soc. Am. 111(4), 2002 (method from memory); refinement by interpolated spectral peaks.
       Checked in the tests on synthetic tones.

    Examples
    --------
    >>> time = np.arange(16000) / 16000
    >>> tone = sum(np.sin(2 * np.pi * 117.0 * k * time) / k for k in range(1, 9))
    >>> held_notes(tone, 16000)[0].note, round(held_notes(tone, 16000)[0].cents, 1)
    ('B-flat2', 6.8)
    """
    sound = _mono(samples, rate_hz)
    track, depth, loud = _track(sound, rate_hz)
    notes = [
        _measure(sound, rate_hz, a4_hz, track[first:last], depth[first:last], first, last)
        for first, last in _segments(track, depth, loud)
    ]
    if not notes:
        raise TradeError(
            "the recording holds no held note", "Hold each note for a second, louder than the room"
        )
    return notes


def _mono(samples: Floats, rate_hz: float) -> Floats:
    """Take the louder channel: a mean of two microphones can cancel what both hear."""
    sound: Floats = np.asarray(samples, dtype=np.float64)
    if rate_hz < 8000:
        raise TradeError(f"a rate of {rate_hz:g} Hz is too low", "Record at 44.1 or 48 kHz")
    if sound.ndim == 2 and sound.shape[1] > 0:
        sound = sound[:, int(np.argmax((sound**2).sum(axis=0)))]
    if sound.ndim != 1 or len(sound) < rate_hz * SHORTEST_STEADY_S:
        raise TradeError("the recording is too short", "Hold each note for a second")
    if not np.isfinite(sound).all():
        raise TradeError("the recording holds samples that are not numbers", "Record it again")
    sound = sound - float(sound.mean())
    if not np.abs(sound).max() > 0:
        raise TradeError("the recording is silent", "Check the microphone")
    return sound


def _track(sound: Floats, rate_hz: float) -> tuple[Floats, Floats, Floats]:
    """Give pitch [Hz], depth of the dip and level of every hop."""
    # two periods of the lowest pitch and a tenth to spare: a stretch is held against itself one period on
    window = int(round(2.2 * rate_hz / LOWEST_HZ))
    hop = max(1, int(round(_HOP_S * rate_hz)))
    padded = np.concatenate([np.zeros(window // 2), sound, np.zeros(window)])
    starts = np.arange(0, len(sound), hop)
    pitch, depth, level = [], [], []
    for begin in range(0, len(starts), _CHUNK):
        frames = padded[starts[begin : begin + _CHUNK, None] + np.arange(window)]
        found, dips = _yin(frames, rate_hz)
        pitch.append(found)
        depth.append(dips)
        level.append(np.sqrt((frames[:, window // 4 : -window // 4] ** 2).mean(axis=1)))
    return np.concatenate(pitch), np.concatenate(depth), np.concatenate(level)


def _yin(frames: Floats, rate_hz: float) -> tuple[Floats, Floats]:
    """Give the period of each frame as a frequency, and the depth of its dip."""
    length = frames.shape[1] // 2
    lags = np.arange(1, min(length, int(rate_hz / LOWEST_HZ) + 2))
    size = 1 << (frames.shape[1] + length - 1).bit_length()
    head = frames[:, :length]
    cross = np.fft.irfft(
        np.fft.rfft(frames, size, axis=1) * np.conj(np.fft.rfft(head, size, axis=1)), size, axis=1
    )
    power = np.cumsum(np.pad(frames**2, ((0, 0), (1, 0))), axis=1)
    energy = power[:, lags + length] - power[:, lags]
    difference = np.maximum(power[:, [length]] + energy - 2.0 * cross[:, lags], 0.0)
    running = np.cumsum(difference, axis=1)
    normal = difference * lags / np.maximum(running, 1e-300)
    first = int(rate_hz / HIGHEST_HZ) - 1
    pitch, depth = np.zeros(len(frames)), np.ones(len(frames))
    for row, curve in enumerate(normal):
        index = _first_dip(curve, first)
        shift, depth[row] = _parabola(curve, index)
        pitch[row] = rate_hz / (lags[index] + shift)
    return pitch, depth


def _first_dip(curve: Floats, first: int) -> int:
    """Take the first deep dip, not the deepest: twice the period fits as well and reads an octave low."""
    below = np.nonzero(curve[first:-1] < YIN_THRESHOLD)[0]
    if len(below) == 0:
        return first + int(np.argmin(curve[first:-1]))
    index = first + int(below[0])
    # on to the bottom of the dip: its edge alone would read sharp
    while index + 1 < len(curve) - 1 and curve[index + 1] < curve[index]:
        index += 1
    return index


def _parabola(curve: Floats, index: int) -> tuple[float, float]:
    """Place the bottom between samples: at 1,000 Hz one sample at 48 kHz is 36 cents."""
    if not 0 < index < len(curve) - 1:
        return 0.0, float(curve[index])
    left, middle, right = curve[index - 1 : index + 2]
    bend = left - 2.0 * middle + right
    if abs(bend) < 1e-300:
        return 0.0, float(middle)
    shift = float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
    return shift, float(middle - 0.25 * (left - right) * shift)


def _segments(track: Floats, depth: Floats, loud: Floats) -> list[tuple[int, int]]:
    """Cut the track into notes: loud stretches, cut again where the pitch steps."""
    floor = float(np.quantile(loud, 0.05))
    # chosen: a tenth of the loud parts, or three times the quiet ones where the room is noisy
    threshold = max(0.1 * float(np.quantile(loud, 0.95)), min(3.0 * floor, 0.5 * float(loud.max())))
    sounding = loud > threshold
    gap, edge, hold = int(_GAP_S / _HOP_S), int(_EDGE_S / _HOP_S), int(_STEP_S / _HOP_S)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], sounding.astype(int), [0]])))
    stretches: list[list[int]] = []
    for first, last in edges.reshape(-1, 2).tolist():
        if stretches and first - stretches[-1][1] <= gap:
            stretches[-1][1] = last
        else:
            stretches.append([first, last])
    parts: list[tuple[int, int]] = []
    for first, last in stretches:
        cuts = [first, *_steps(track, depth, first, last, hold), last]
        parts += list(pairwise(cuts))
    return [(first, last) for first, last in parts if last - first >= 2 * edge]


def _steps(track: Floats, depth: Floats, first: int, last: int, hold: int) -> list[int]:
    """Find where the pitch steps and stays: the middle of each run of hops that differ before and after."""
    steps: list[int] = []
    run: list[int] = []
    for at in range(first + hold, last - hold + 1):
        before, after = np.median(track[at - hold : at]), np.median(track[at : at + hold])
        clear = max(np.median(depth[at - hold : at]), np.median(depth[at : at + hold])) < 2 * NOISIEST
        if clear and CENTS_PER_NEPER * abs(math.log(after / before)) > _SPLIT_CENTS and at < last - hold:
            run.append(at)
        elif run:
            steps.append(run[len(run) // 2])
            run = []
    return steps


def _measure(
    sound: Floats, rate_hz: float, a4_hz: float, track: Floats, depth: Floats, first: int, last: int
) -> HeldNote:
    """Give the pitch of one note, or refuse it with what to do: two estimates must agree."""
    start, end = first * _HOP_S, last * _HOP_S

    def refuse(reason: str) -> HeldNote:
        return HeldNote(start, end, None, None, None, "", reason)

    edge = int(_EDGE_S / _HOP_S)
    steady = slice(edge, max(edge, len(track) - edge))
    if (steady.stop - steady.start) * _HOP_S < SHORTEST_STEADY_S:
        return refuse(f"too short: {end - start:.2f} s, hold it for a second")
    pitch, dips = track[steady], depth[steady]
    if float(dips.mean()) > NOISIEST:
        return refuse("too noisy: no clear period, move the microphone closer")
    middle = float(np.median(pitch))
    cents = CENTS_PER_NEPER * np.log(pitch / middle)
    kept = np.abs(cents) < 600.0  # a single octave slip of a frame is no vibrato
    width = float(np.subtract(*np.quantile(cents[kept], [0.975, 0.025])))
    if width > WIDEST_VIBRATO_CENTS or kept.mean() < 0.8:
        return refuse(f"vibrato too wide: {width:.0f} cents, hold the note straight")
    by_period = middle * math.exp(float(cents[kept].mean()) / CENTS_PER_NEPER)
    begin, stop = (
        int((first + steady.start) * _HOP_S * rate_hz),
        int((first + steady.stop) * _HOP_S * rate_hz),
    )
    by_spectrum, scatter = _spectral_pitch(sound[begin:stop], rate_hz, by_period)
    apart = max(scatter, CENTS_PER_NEPER * abs(math.log(by_spectrum / by_period)))
    if apart > MOST_APART_CENTS:
        return refuse(f"two estimates lie {apart:.0f} cents apart: record the note again, alone")
    note, deviation = nearest_note(by_spectrum, a4_hz)
    return HeldNote(start, end, by_spectrum, deviation, float(cents[kept].std()), note_name(note), "")


def _spectral_pitch(sound: Floats, rate_hz: float, rough_hz: float) -> tuple[float, float]:
    """Refine a pitch by interpolated harmonic peaks; also how far the harmonics lie apart in cents.

    Period and peaks weigh the harmonics alike, so a sound that is not one harmonic tone shows only between
    them.
    """
    # chosen: eight periods keep the harmonics apart, whose peaks this window makes four bins wide
    length = min(len(sound), int(rate_hz * max(0.12, 8.0 / rough_hz)))
    hop = max(1, length // 4)
    starts = np.arange(0, len(sound) - length + 1, hop)
    size = 1 << (4 * length - 1).bit_length()
    count = max(1, min(_HARMONICS, int(0.45 * rate_hz / rough_hz)))
    window = np.hanning(length)
    logs, apart = [], []
    for begin in starts:
        spectrum = np.log(np.abs(np.fft.rfft(sound[begin : begin + length] * window, size)) + 1e-300)
        mean, scatter = _harmonic_mean(spectrum, rate_hz / size, rough_hz, count)
        logs.append(math.log(mean))
        apart.append(scatter)
    return math.exp(math.fsum(logs) / len(logs)), float(np.median(apart))


def _harmonic_mean(log_spectrum: Floats, bin_hz: float, rough_hz: float, count: int) -> tuple[float, float]:
    """Average the fundamentals that the harmonic peaks say, by how well each tells; and their scatter."""
    peaks = []
    for harmonic in range(1, count + 1):
        centre, reach = harmonic * rough_hz / bin_hz, max(2.0, 0.25 * rough_hz / bin_hz)
        low, high = int(max(1, centre - reach)), int(min(len(log_spectrum) - 2, centre + reach))
        index = low + int(np.argmax(log_spectrum[low : high + 1]))
        shift, top = _parabola(-log_spectrum, index)
        peaks.append((harmonic, (index + shift) * bin_hz / harmonic, -top))
    highest = max(top for _, _, top in peaks)
    # chosen: 35 dB under the strongest a peak tells more of the noise
    told = [(harmonic, hz, top) for harmonic, hz, top in peaks if top > highest - 4.0]
    # a higher harmonic tells the fundamental more finely, a louder one more surely
    weights = [(harmonic * math.exp(top - highest)) ** 2 for harmonic, _, top in told]
    total = math.fsum(weights)
    mean = math.fsum(w * hz for w, (_, hz, _) in zip(weights, told, strict=True)) / total
    squares = math.fsum(w * (hz - mean) ** 2 for w, (_, hz, _) in zip(weights, told, strict=True)) / total
    return mean, CENTS_PER_NEPER * math.sqrt(squares) / mean
