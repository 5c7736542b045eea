"""Notes from a recording: the card says in which order they were held, the sound says how high."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from qc.ingest.reading import check_file
from qc.jobs.remedies.errors import RemedyError
from qc.jobs.remedies.notes import note_of_row, with_cents
from qc.jobs.remedies.sheet import REMEDY, RemedySheet
from qc.report.terminal import recording_text
from qc.stats import Floats
from qc.trade import HeldNote, Instrument, Note, TradeError, cents_between, held_notes, note_frequency
from qc.words import count_words, places_words

MOST_WAV_BYTES = 200_000_000
"""About twenty minutes of stereo at 44.1 kHz: more is no note set."""

WAV = replace(
    REMEDY,
    said={
        **REMEDY.said,
        "odd": "{path}: this is {words}, not a file. Give the recording itself",
        "large": "{name}: larger than {most}. Record the note set alone",
        "unreadable": "{name}: this is no wav recording. Save it as wav (PCM)",
    },
    most_bytes=MOST_WAV_BYTES,
)
"""How a recording is looked at before it is heard."""

NOT_THIS_NOTE_CENTS = 80.0
"""Further than this from the note of the card, the order of card and recording differ."""


@dataclass(frozen=True, slots=True)
class RecordingResult:
    """The held notes of a recording, where no card says what they were meant to be."""

    name: str
    notes: tuple[HeldNote, ...]

    def to_dict(self) -> dict[str, object]:
        """Give the notes as plain values."""
        return {"notes": [note.to_dict() for note in self.notes]}

    def to_text(self) -> str:
        """Give one line a note."""
        return recording_text(self.name, self.notes)


def hear(wav: Path, a4_hz: float = 440.0) -> RecordingResult:
    """List the held notes of a recording.

    Raises
    ------
    RemedyError
        The file is no recording, or holds no note.
    """
    return RecordingResult(wav.name, tuple(_held(wav, a4_hz)))


def notes_from_recording(
    sheet: RemedySheet, wav: Path, instrument: Instrument, a4_hz: float = 440.0
) -> list[Note]:
    """Give the notes of a card with the pitches of a recording, in order.

    Parameters
    ----------
    sheet : RemedySheet
        Card with `partial, position, valve` and the other columns of a tuning sheet; cents are not needed.
    wav : Path
        Recording of the same notes in the same order.
    instrument : Instrument
        The model.
    a4_hz : float
        Tuner's A4. [Hz]

    Returns
    -------
    list of Note
        One for each row.

    Raises
    ------
    RemedyError
        The numbers of notes differ, a note is refused, or one sounds like another note than the card says.
    """
    sheet.need("partial", "position")
    held = _held(wav, a4_hz)
    # one note too many or too few would shift all that follow: nothing is guessed
    if len(held) != len(sheet.rows):
        raise RemedyError(
            f"{wav.name}: {count_words(len(held), 'held note')} for {count_words(len(sheet.rows), 'row')} of "
            f"{sheet.name}. "
            "Hold each note of the card once, in its order, with a short rest between"
        )
    notes = []
    for row, sound in zip(sheet.rows, held, strict=True):
        place = f"{wav.name}, note at {sound.start_s:.1f} s ({sheet.name}, line {row.line})"
        if sound.hz is None:
            raise RemedyError(f"{place}: {sound.refused}")
        note = note_of_row(sheet, row, instrument, 0.0)
        try:
            meant = note_frequency(instrument, note.partial, note.position, note.valves, a4_hz)
        except TradeError as error:
            raise sheet.fault(row, error.column or "position", error.problem, error.hint) from error
        cents = cents_between(sound.hz, meant)
        if abs(cents) > NOT_THIS_NOTE_CENTS:
            raise RemedyError(
                f"{place}: {sound.note} is {places_words(cents, 0, signed=True)} cents from the note "
                "of the card. "
                "Check the order of the card, or the partial and position of this row"
            )
        notes.append(with_cents(note, cents))
    return notes


def read_wav(path: Path) -> tuple[Floats, float]:
    """Read a wav file as samples from -1 to 1 and its rate.

    Raises
    ------
    RemedyUsageError
        No such file.
    RemedyError
        Too large, or no wav file.
    """
    from scipy.io import wavfile

    try:
        check_file(path, WAV)
        data = path.read_bytes()
    except OSError as error:
        WAV.refuse("locked", path, error, words=error.strerror)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # unknown chunks (names, dates) do not touch the sound
            rate, samples = wavfile.read(io.BytesIO(data))
    except Exception as error:  # the reader raises errors of many kinds; each means the same to a person
        WAV.refuse("unreadable", path, error)
    scale = 1.0
    if np.issubdtype(samples.dtype, np.integer):
        scale = float(np.iinfo(samples.dtype).max)
    sound = samples.astype(np.float64) / scale
    return (sound - 1.0 if samples.dtype == np.uint8 else sound), float(rate)


def _held(wav: Path, a4_hz: float) -> list[HeldNote]:
    samples, rate = read_wav(wav)
    try:
        return held_notes(samples, rate, a4_hz)
    except TradeError as error:
        raise RemedyError(f"{wav.name}: {error}") from error
