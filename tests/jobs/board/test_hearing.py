"""A recording of a piece's notes, as the board's worker hears it: synthetic tones of known pitch."""

from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from scipy.io import wavfile

from qc.jobs.board import hear_notes
from qc.jobs.remedies import RemedyError

RATE = 16000
PEDAL_HZ = 58.27047
"""B flat 1 at A4 = 440 (ISO 16): note 34 of the tempered scale."""


def held(path, partials, cents):
    """Write one held tone a partial, so many cents from the tempered note each, with rests between."""
    time = np.arange(int(1.0 * RATE)) / RATE
    parts = [np.zeros(RATE // 4)]
    for partial in partials:
        tempered = {2: 2.0, 3: 2 ** (19 / 12), 4: 4.0}[partial]
        hz = PEDAL_HZ * tempered * 2 ** (cents / 1200)
        tone = sum(np.sin(2 * np.pi * hz * k * time) / k for k in range(1, 9))
        parts += [0.3 * tone / np.abs(tone).max(), np.zeros(RATE // 4)]
    wavfile.write(path, RATE, (32767 * np.concatenate(parts)).astype(np.int16))
    return path


@pytest.fixture
def shop(small_plan):
    """A workshop whose store holds three notes of one tenor, in the order they were blown."""
    rows = pl.DataFrame(
        {"value": [0.0] * 3, "person": ["QL"] * 3, "day": ["2026-11-02"] * 3, "partial": ["2", "3", "4"],
         "position": ["1"] * 3, "valve": [""] * 3, "air_c": [None] * 3, "method": ["stop"] * 3,
         "model": ["tenor"] * 3}
    )  # fmt: skip
    empty = rows.clear()
    store = SimpleNamespace(readings=lambda serials, **_: rows if serials == ["TB-1"] else empty)
    return SimpleNamespace(store=store, plan=small_plan)


def test_notes_in_the_order_of_the_card_give_the_order_of_work(shop, tmp_path):
    """Twelve cents flat on every note: by 1731.234 ln, 20.3 mm of a tenor's 2944.9."""
    found = hear_notes(shop, ("my notes.wav", held(tmp_path / "0", (2, 3, 4), -12)), "TB-1")
    assert found["problem"] == "" and found["file"] == "my notes.wav"
    assert [note["where"] for note in found["heard"]] == [f"partial {n}, position 1" for n in (2, 3, 4)]
    assert [note["cents"] for note in found["heard"]] == pytest.approx([-12.0] * 3, abs=0.5)
    assert found["steps"][0].startswith("Main length about 21 mm long")
    assert found["cautions"][-1].startswith("Usual cautions only")


def test_a_note_too_few_is_told_with_what_was_heard(shop, tmp_path):
    found = hear_notes(shop, ("my notes.wav", held(tmp_path / "0", (2, 3), 0)), "TB-1")
    assert "my notes.wav: 2 held notes for 3 rows" in found["problem"] and found["steps"] == []
    assert [note["note"] for note in found["heard"]] == ["B-flat2", "F3"]


def test_a_piece_without_a_card_is_only_listened_to(shop, tmp_path):
    found = hear_notes(shop, ("x.wav", held(tmp_path / "0", (2,), 0)), "TB-9")
    assert "the store holds no readings" in found["problem"] and len(found["heard"]) == 1


def test_what_is_no_recording_is_refused_by_its_own_name(shop, tmp_path):
    path = tmp_path / "0"
    path.write_bytes(b"RIFFjunk")
    with pytest.raises(RemedyError, match="no wav recording") as refused:
        hear_notes(shop, ("letter.wav", path), "TB-1")
    assert "recording.wav" not in str(refused.value)
