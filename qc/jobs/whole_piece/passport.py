"""The passport of a piece: what the record says, on one page to print."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from qc.errors import MachineError
from qc.jobs.whole_piece.figures import FigureOfPiece
from qc.jobs.whole_piece.maps import grid_of
from qc.jobs.whole_piece.record import PieceRecord
from qc.jobs.whole_piece.saying import figure_line
from qc.plain import JsonObject
from qc.report.passport import Passport, PassportFigure, PassportMap, passport_pdf
from qc.report.terminal import passport_text
from qc.store import OWN_FILE
from qc.words import dated_words, unit_words


@dataclass(frozen=True, slots=True)
class PassportFile:
    """A passport that was written, and the record it was made of."""

    file: Path
    record: PieceRecord

    def to_dict(self) -> JsonObject:
        """Return the record, and the file."""
        return {**self.record.to_dict(), "pdf": str(self.file)}

    def to_text(self) -> str:
        """Say where it lies."""
        return passport_text(self.record.serial, self.record.judgement, str(self.file))


def write_passport(workshop_name: str, record: PieceRecord, out: Path) -> PassportFile:
    """Write a record as a pdf of one page.

    Parameters
    ----------
    workshop_name : str
        Whose piece it is.
    record : PieceRecord
        What is known of it.
    out : pathlib.Path
        The pdf; one that is there is written over.

    Raises
    ------
    MachineError
        The file cannot be written.
    """
    data = passport_pdf(passport_of(workshop_name, record))
    try:
        out.touch(OWN_FILE)
        out.write_bytes(data)
    except OSError as error:
        raise MachineError(
            f"{out}: the passport cannot be written here ({error.strerror}). Name another file with --pdf."
        ) from error
    return PassportFile(out, record)


def passport_of(workshop_name: str, record: PieceRecord) -> Passport:
    """Return what of a record stands on the page."""
    parts = [(one.part, one.serial, one.made_of, one.gone or one.since) for one in record.parts]
    life = [*((one.day, one.told) for one in record.cards), *((one.day, one.said) for one in record.events)]
    events = [(dated_words(day), said) for day, said in sorted(life, key=lambda one: one[0])]
    return Passport(
        serial=record.serial,
        model=record.model_name or "part",
        where=record.where,
        workshop=workshop_name,
        as_of=record.as_of,
        known=record.known,
        # of a past day it matters what had not come by then
        judgement=(*record.judgement, *(record.notes if record.known else ())),
        figures=tuple(_figure(one) for one in record.figures),
        parts=tuple(parts),
        events=tuple(events),
        held=bool(record.waits),
        maps=tuple(_map(one) for one in record.figures if _is_mapped(one)),
    )


def _is_mapped(one: FigureOfPiece) -> bool:
    """Say whether a figure is worth a map: one of a series, or the notes that several are made of."""
    return len(one.places) > 2 and (one.series is not None or "partial" in one.places[0].at)


def _map(one: FigureOfPiece) -> PassportMap:
    grid = grid_of(one)
    cells = tuple(tuple((cell.text, cell.out) if cell else ("", False) for cell in row) for row in grid.cells)
    return PassportMap(f"{one.title} [{unit_words(one.unit)}]", grid.columns, grid.rows, cells)


def _figure(one: FigureOfPiece) -> PassportFigure:
    name, value, worst, limits, answer, _ = figure_line(one)
    bounded = [place for place in one.places if place.lower is not None or place.upper is not None]
    # what has no limits of its own would be drawn against those of others
    places = bounded or list(one.places)
    return PassportFigure(
        name=name,
        value=value,
        worst=worst,
        limits=limits,
        answer=answer.lower(),
        outside=one.inside is False,
        places=tuple(place.value for place in places),
        lower=one.lower,
        upper=one.upper,
    )
