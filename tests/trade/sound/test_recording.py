"""Pitch from sound: 0.5 cent on steady tones at 25 dB, 3 cents under 4 Hz vibrato, refusals with reasons."""

import numpy as np
import pytest

from qc import trade
from qc.trade import TradeError

RATE = 44100
BRASS = (0.4, 0.8, 1.0, 0.9, 0.7, 0.5, 0.35, 0.25, 0.18, 0.12, 0.08, 0.05)


def tone(hz, seconds=1.5, noise_db=25.0, vibrato=0.0, vibrato_hz=4.0, seed=0, rate=RATE):
    """A synthetic brass tone with a weak fundamental, noise, and silence around it."""
    rng = np.random.default_rng(seed)
    time = np.arange(int(seconds * rate)) / rate
    track = hz * 2 ** (vibrato * np.sin(2 * np.pi * vibrato_hz * time + rng.uniform(0, 6)) / 1200)
    phase = 2 * np.pi * np.cumsum(track) / rate
    sound = sum(
        a * np.sin(k * phase + rng.uniform(0, 6)) for k, a in enumerate(BRASS, 1) if k * hz < 0.45 * rate
    )
    sound *= np.minimum(1, np.minimum(time / 0.05, (seconds - time) / 0.08))
    sound += rng.normal(0, np.sqrt((sound**2).mean() / 10 ** (noise_db / 10)), len(sound))
    rest = rng.normal(0, 1e-4, rate // 5)
    return np.concatenate([rest, sound, rest])


def only(sound, **options):
    notes = trade.held_notes(sound, RATE, **options)
    assert len(notes) == 1
    return notes[0]


@pytest.mark.parametrize("hz", [29.3, 43.1, 58.9, 86.5, 117.4, 173.0, 234.8, 347.0, 469.1, 703.0])
def test_steady_tone_within_half_a_cent(hz):
    note = only(tone(hz, seed=int(hz)))
    assert 1200 * np.log2(note.hz / hz) == pytest.approx(0.0, abs=0.5)
    assert note.spread_cents < 3.0
    assert not note.refused


@pytest.mark.parametrize(("hz", "depth"), [(58.9, 15), (87.0, 20), (117.4, 20), (234.8, 25), (469.1, 20)])
def test_vibrato_within_three_cents(hz, depth):
    note = only(tone(hz, 2.0, vibrato=depth, seed=int(hz)))
    assert 1200 * np.log2(note.hz / hz) == pytest.approx(0.0, abs=3.0)
    assert note.spread_cents == pytest.approx(depth / np.sqrt(2), rel=0.35)


def test_notes_are_found_one_by_one_and_named_by_the_tuner():
    sound = np.concatenate([tone(hz, 1.0, seed=i) for i, hz in enumerate((117.0, 175.0, 233.0))])
    notes = trade.held_notes(sound, RATE)
    assert [note.note for note in notes] == ["B-flat2", "F3", "B-flat3"]
    assert notes[0].end_s < notes[1].start_s
    sharp = trade.held_notes(sound, RATE, 442.0)
    assert notes[0].cents - sharp[0].cents == pytest.approx(7.85, abs=0.01)
    assert sharp[0].to_dict()["note"] == "B-flat2"


def test_slurred_notes_are_cut_at_the_step():
    time = np.arange(RATE) / RATE
    phase = 2 * np.pi * np.cumsum(np.concatenate([117.0 + 0 * time, 131.0 + 0 * time])) / RATE
    notes = trade.held_notes(sum(np.sin(k * phase) / k for k in range(1, 9)), RATE)
    assert [round(note.hz) for note in notes] == [117, 131]


def test_louder_channel_of_stereo_is_taken():
    sound = tone(117.0)
    pair = np.stack([0.01 * tone(175.0), sound], axis=1)
    assert only(pair).hz == pytest.approx(117.0, rel=1e-4)


@pytest.mark.parametrize(("sound", "reason"), [
    (tone(117.0, 0.45), "too short"),
    (tone(117.0, noise_db=-3), "too noisy"),
    (tone(117.0, 2.0, vibrato=70), "vibrato too wide"),
])  # fmt: skip
def test_refused_with_a_reason(sound, reason):
    notes = trade.held_notes(sound, RATE)
    assert notes and all(reason in note.refused and note.hz is None for note in notes)


def test_two_estimates_that_disagree_refuse():
    """Stretched partials: the period and the peaks no longer say the same."""
    time = np.arange(2 * RATE) / RATE
    sound = sum(a * np.sin(2 * np.pi * 117.0 * k * (1 + 0.004 * k) * time) for k, a in enumerate(BRASS, 1))
    assert all(note.refused for note in trade.held_notes(sound, RATE))


@pytest.mark.parametrize(("sound", "rate", "words"), [
    (np.zeros(RATE), RATE, "silent"),
    (np.ones(100), RATE, "too short"),
    (np.ones(RATE), 4000, "too low"),
    (np.full(RATE, np.nan), RATE, "not numbers"),
])  # fmt: skip
def test_recordings_that_are_none(sound, rate, words):
    with pytest.raises(TradeError, match=words):
        trade.held_notes(sound, rate)
