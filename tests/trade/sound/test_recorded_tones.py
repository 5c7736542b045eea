"""Pitch of synthetic tones whose frequency is known: over the whole range, rates, levels and rooms."""

import math

import numpy as np
import pytest
from scipy import optimize

from qc import trade
from qc.trade import TradeError

RATE = 16000
BRASS = (0.4, 0.8, 1.0, 0.9, 0.7, 0.5, 0.35, 0.25, 0.18, 0.12)


def tone(hz, seed, seconds=1.0, rate=RATE, noise_db=30.0, harmonics=BRASS, level=1.0, glide=0.0):
    """A held brass tone (fundamental weak, phases drawn) between two rests, gliding by so many cents."""
    rng = np.random.default_rng(seed)
    time = np.arange(int(seconds * rate)) / rate
    track = hz * 2 ** (glide * (time / seconds - 0.5) / 1200)
    phase = 2 * np.pi * np.cumsum(track) / rate
    heard = [(k, a) for k, a in enumerate(harmonics, 1) if k * hz < 0.45 * rate]
    sound = sum(a * np.sin(k * phase + rng.uniform(0, 2 * np.pi)) for k, a in heard)
    sound = sound * np.minimum(1, np.minimum(time / 0.05, (seconds - time) / 0.08))
    sound += rng.normal(0, math.sqrt((sound**2).mean() / 10 ** (noise_db / 10)), len(sound))
    rest = rng.normal(0, 1e-4, rate // 5)
    return level * np.concatenate([rest, sound, rest])


def heard(sound, rate=RATE, **options):
    (note,) = trade.held_notes(sound, rate, **options)
    assert not note.refused, note.refused
    return note


def test_pitches_drawn_over_the_whole_range_are_within_half_a_cent():
    """20 tones from below the contrabass pedal to the alto's top, drawn evenly in cents; none is refused."""
    rng = np.random.default_rng(50)
    off = []
    for number, octaves in enumerate(rng.uniform(0.0, math.log2(1000.0 / 29.0), 20)):
        hz = 29.0 * 2**octaves
        off.append(trade.cents_between(heard(tone(hz, 500 + number, rate=22050), 22050).hz, hz))
    assert np.abs(off).max() < 0.5
    assert abs(np.mean(off)) < 3 * np.std(off) / math.sqrt(20) + 0.02, "and no lean to one side"


@pytest.mark.parametrize("rate", [8000, 11025, 22050, 48000])
def test_the_sampling_rate_does_not_matter(rate):
    assert trade.cents_between(heard(tone(116.54, 51, rate=rate), rate).hz, 116.54) == pytest.approx(
        0, abs=0.5
    )


def test_the_same_samples_said_to_be_faster_are_higher_by_as_much():
    """Hertz come from the rate alone: at 1.5 times the rate they are 1.5 times as high."""
    sound = tone(110.0, 52)
    plain, faster = heard(sound), heard(sound, 1.5 * RATE)
    assert trade.cents_between(faster.hz, plain.hz) == pytest.approx(1200 * math.log2(1.5), abs=0.3)
    assert faster.end_s - faster.start_s == pytest.approx((plain.end_s - plain.start_s) / 1.5, abs=0.05)


@pytest.mark.parametrize("change", [
    pytest.param(lambda sound: 1e-6 * sound, id="a millionth as loud"),
    pytest.param(lambda sound: 3e4 * sound, id="as 16-bit figures"),
    pytest.param(lambda sound: -sound, id="turned over"),
    pytest.param(lambda sound: sound + 5.0, id="with an offset"),
    pytest.param(lambda sound: sound[::-1], id="played backwards"),
    pytest.param(lambda sound: np.round(sound * 200) / 200, id="coarsely sampled"),
    pytest.param(lambda sound: np.stack([sound, 0.0 * sound], axis=1), id="on the left of two channels"),
    pytest.param(lambda sound: np.concatenate([np.zeros(RATE), sound]), id="a second later"),
])  # fmt: skip
def test_loudness_sign_offset_and_place_do_not_matter(change):
    sound = tone(155.6, 53)
    assert trade.cents_between(heard(change(sound)).hz, heard(sound).hz) == pytest.approx(0.0, abs=0.1)


def test_agrees_with_a_least_squares_fit_of_the_harmonics():
    """Second route: sines and cosines of eight harmonics on the samples, best fundamental sought."""
    hz = 93.21
    sound = tone(hz, 54, noise_db=20.0)
    note = heard(sound)
    steady = sound[int((note.start_s + 0.3) * RATE) : int((note.start_s + 0.6) * RATE)]
    time = np.arange(len(steady)) / RATE

    def left(fundamental):
        angles = 2 * np.pi * fundamental * np.outer(time, np.arange(1, 9))
        basis = np.hstack([np.sin(angles), np.cos(angles)])
        along = basis.T @ steady
        return -float(along @ np.linalg.solve(basis.T @ basis, along))

    best = optimize.minimize_scalar(
        left, bounds=(hz * 0.998, hz * 1.002), method="bounded", options={"xatol": 1e-4}
    ).x
    assert trade.cents_between(note.hz, best) == pytest.approx(0.0, abs=0.3)


def test_a_missing_fundamental_is_no_octave_slip():
    """The pedal note has hardly a fundamental of its own; harmonics 2 and 3 alone still say the octave."""
    weak = heard(tone(58.27, 55, harmonics=(0.0, 1.0, 1.0, 0.8, 0.6, 0.4)))
    assert weak.note == "B-flat1" and trade.cents_between(weak.hz, 58.27) == pytest.approx(0.0, abs=0.5)
    odd = heard(tone(116.54, 56, harmonics=(1.0, 0.0, 0.6, 0.0, 0.4)))
    assert odd.note == "B-flat2"


@pytest.mark.parametrize("glide", [-16.0, 16.0])
def test_a_note_that_sags_gives_its_middle_and_its_spread(glide):
    """16 cents over the note: the mean is that of the middle, the spread that of a straight line, 4 cents."""
    note = heard(tone(174.61, 57, 1.6, glide=glide))
    assert trade.cents_between(note.hz, 174.61) == pytest.approx(0.0, abs=1.5)
    assert note.spread_cents == pytest.approx(16.0 * 0.9 / math.sqrt(12), rel=0.25)


def test_places_and_names_of_a_scale():
    """Seven open notes in a row, each 0.7 s with rests between: found in order, where they are."""
    hertz = [58.27 * n for n in (2, 3, 4, 5, 6, 8)]
    sounds = [tone(hz, 580 + i, 0.7) for i, hz in enumerate(hertz)]
    starts = np.cumsum([0, *[len(s) for s in sounds[:-1]]]) / RATE + 0.2
    notes = trade.held_notes(np.concatenate(sounds), RATE)
    assert [note.start_s for note in notes] == pytest.approx(starts, abs=0.08)
    assert [note.end_s - note.start_s for note in notes] == pytest.approx([0.7] * 6, abs=0.12)
    natural = [trade.harmonic_deviation(n) for n in (2, 3, 4, 5, 6, 8)]
    assert [note.cents for note in notes] == pytest.approx(natural, abs=0.5), "58.27 Hz is B-flat1 itself"


def test_two_tones_at_once_are_refused_and_say_so():
    """A second player in the room, a tempered tritone above: no common period, no figure."""
    pair = tone(116.54, 58, 1.5) + 0.8 * tone(164.81, 59, 1.5)
    for note in trade.held_notes(pair, RATE):
        assert note.refused and (note.hz, note.cents, note.note) == (None, None, "")


@pytest.mark.parametrize(("sound", "reason", "mend"), [
    (tone(116.54, 60, 0.45), "too short: 0.", "hold it for a second"),
    (tone(116.54, 61, noise_db=-4.0), "too noisy", "move the microphone closer"),
    (tone(116.54, 62, 2.0, glide=180.0), "vibrato too wide", "hold the note straight"),
])  # fmt: skip
def test_a_refusal_says_what_and_what_to_do(sound, reason, mend):
    for note in trade.held_notes(sound, RATE):
        assert reason in note.refused and mend in note.refused
        assert note.to_dict()["hz"] is None


@pytest.mark.parametrize(("sound", "rate", "problem", "mend"), [
    (np.zeros(RATE), RATE, "the recording is silent", "Check the microphone"),
    (np.full(RATE, 0.25), RATE, "the recording is silent", "Check the microphone"),
    (np.ones(int(0.39 * RATE)), RATE, "too short", "Hold each note for a second"),
    (np.zeros((RATE, 0)), RATE, "too short", "Hold each note for a second"),
    (np.zeros((4, RATE, 2)), RATE, "too short", "Hold each note for a second"),
    (tone(116.5, 63), 7999, "a rate of 7999 Hz is too low", "Record at 44.1 or 48 kHz"),
    (np.where(np.arange(RATE) == 5, np.inf, 0.1), RATE, "samples that are not numbers", "Record it again"),
    (np.r_[np.zeros(RATE), np.ones(40), np.zeros(RATE)], RATE, "no held note", "louder than the room"),
])  # fmt: skip
def test_recordings_that_hold_nothing_say_why(sound, rate, problem, mend):
    with pytest.raises(TradeError, match=problem) as caught:
        trade.held_notes(sound, rate)
    assert mend in caught.value.hint and caught.value.index is None
