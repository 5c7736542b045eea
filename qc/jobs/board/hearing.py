"""A recording of a piece's notes, heard for the board: what was held, and what to do; it is not kept."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from qc.jobs.board.remedies import PLAIN_NAME, newest_sitting, note_words, said_of
from qc.plain import JsonObject

if TYPE_CHECKING:
    from qc.jobs.workshop import Workshop


def hear_notes(workshop: Workshop, file: tuple[str, Path], serial: str) -> JsonObject:
    """Hear a recording of a piece's notes, blown in the order of its newest card.

    Parameters
    ----------
    workshop : Workshop
        The open workshop.
    file : (str, Path)
        Name, and where it lies.
    serial : str
        The piece. Where it has no card yet, only what was heard is told.

    Returns
    -------
    dict
        ``{"file": "", "problem": "", "heard": [], "steps": [], "summary": [], "cautions": []}``; each note of
        `heard` has `where`, `note`, `cents` and, where it gives no figure, `refused`.

    Raises
    ------
    RemedyError
        The file is no recording, or nothing is held in it.
    """
    from qc.jobs.remedies import RemedyError, hear, notes_of_piece, tune_sheet

    name, path = file[0], file[1].rename(file[1].with_name(PLAIN_NAME))
    problem = ""
    try:
        sheet, model = notes_of_piece(workshop, serial)
        card = newest_sitting(sheet)
        found = tune_sheet(workshop, card, model, wav=path)
    except RemedyError as error:
        problem = said_of(error, name)
    else:
        heard = [
            {"where": note_words(card, row), "note": "", "cents": note.cents, "refused": ""}
            for row, note in zip(card.rows, found.notes, strict=True)
        ]
        remedy = found.remedy
        return {
            "file": name,
            "problem": "",
            "heard": heard,
            "steps": list(remedy.order_of_work),
            "summary": list(found.summary),
            "cautions": list(remedy.cautions),
        }
    try:
        held = hear(path, workshop.plan.workshop.a4_hz).notes
    except RemedyError as error:
        raise RemedyError(said_of(error, name)) from error
    heard = [
        {"where": f"at {note.start_s:.1f} s", "note": note.note, "cents": note.cents, "refused": note.refused}
        for note in held
    ]
    return {"file": name, "problem": problem, "heard": heard, "steps": [], "summary": [], "cautions": []}
