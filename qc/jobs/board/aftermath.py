"""What became of a task of the worker that did not come to its end: asked of the store, never guessed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any, Final, Literal

from qc.errors import QcError
from qc.jobs.judging import not_judged_since
from qc.jobs.workshop import Workshop, open_workshop
from qc.store import sheet_hash
from qc.words import count_words, some_of

TaskKind = Literal[
    "upload", "mapped", "bench", "held", "signal", "series", "piece", "study", "hear", "judge", "undo",
    "correct", "month", "unread", "shown",
]  # fmt: skip

NOTHING: Final = "Nothing of it was stored"
NOT_JUDGED: Final = "not yet judged; the board judges it as soon as it can."
UNKNOWN: Final = (
    "Whether it was stored cannot be told now: {} Look at the list of sheets and of held rows once the board "
    "answers again; sending a sheet once more changes nothing that is known already."
)


CORRECTS = {"undo": ("undo",), "correct": ("correction", "withdrawal")}
"""Tasks that put right what was decided or accepted, and the entries they make."""


def what_became(
    folder: Path, as_of: date | None, kind: TaskKind, what: Any, who: str, before: int | None
) -> str:
    """Say of a broken-off task whether it was stored, and whether it was judged.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    as_of : date or None
        The day the board stands on.
    kind, what, who : TaskKind, object, str
        The task, as the worker was given it.
    before : int or None
        Number of the newest entry when the task began; None where it did not come so far.
    """
    if kind == "study":
        return "A study stores nothing. Ask it again."
    if kind == "hear":
        return "Of a recording nothing is stored. Send it again."
    if kind == "month":
        return "The files of the report are written whole or not at all. Write it again."
    try:
        workshop = open_workshop(folder, as_of=as_of)
    except QcError as error:
        return UNKNOWN.format(error)
    try:
        return _told(workshop, kind, what, who, before)
    except QcError as error:
        return UNKNOWN.format(error)
    finally:
        workshop.store.close()


def _told(workshop: Workshop, kind: TaskKind, what: Any, who: str, before: int | None) -> str:
    if kind == "judge":
        return "What waited is judged." if _is_judged(workshop) else "What came in is not yet judged."
    if kind in {"upload", "mapped"}:
        return _sheets(workshop, what if kind == "upload" else what[0])
    if kind == "shown":
        read = workshop.store.has_sheet(what[0])
        return f"It is stored, {_judged(workshop)}" if read else f"{NOTHING}. Show it again."
    if kind == "bench":
        stored = bool(workshop.store.entered(str(what.get("entry", ""))))
        if not stored:
            return f"{NOTHING}. What was typed is kept on the tablet: hand it in again."
        return f"It is stored, {_judged(workshop)} Handed in again it comes in once."
    if kind == "held":
        decided = before is not None and any(
            entry.who == who and entry.kind == "mend" for entry in workshop.store.entries(before)
        )
        return _rows(workshop, what[0], decided=decided)
    if kind in CORRECTS:
        begun = before is not None
        own = workshop.store.entries(before or 0) if begun else []
        stored = any(entry.who == who and entry.kind in CORRECTS[kind] for entry in own)
        return f"It is stored, {_judged(workshop)}" if stored else f"{NOTHING}. Say it again."
    # what is said of a signal or a series is one entry in the name of who said it
    said = before is not None and any(
        entry.who == who and entry.kind == kind for entry in workshop.store.entries(before)
    )
    if not said:
        return f"{NOTHING}. Say it again."
    return f"What was said is stored, {_judged(workshop)}"


def _sheets(workshop: Workshop, files: Sequence[tuple[str, Path]]) -> str:
    """Say which sheets are stored, which are kept unread, and which are neither."""
    digests = [(name, sheet_hash(path.read_bytes())) for name, path in files]
    stored = [name for name, digest in digests if workshop.store.has_sheet(digest)]
    unread = {one.sheet for one in workshop.store.unread(open_only=False)}
    kept = [name for name, digest in digests if digest in unread and name not in stored]
    lost = [name for name, _ in files if name not in stored and name not in kept]
    told = []
    if stored:
        told.append(f"{_those(stored)} stored, {_judged(workshop)}")
    if kept:
        them = "it" if len(kept) == 1 else "them"
        told.append(f"{_those(kept)} kept as handed in, since nobody could read {them} yet.")
    if not told:
        return f"{NOTHING}. Send it again."
    return " ".join([*told, f"Not stored: {some_of(lost)}. Send the rest again."] if lost else told)


def _those(names: Sequence[str]) -> str:
    return f"{names[0]} is" if len(names) == 1 else f"{count_words(len(names), 'sheet')} are"


def _rows(workshop: Workshop, rows: Sequence[str], *, decided: bool) -> str:
    """Say what became of a decision on rows; `decided` where its person settled any since it began."""
    waiting = {str(row.id) for row in workshop.store.held(ids=[int(row) for row in rows])}
    left = [row for row in rows if row in waiting]
    if len(left) == len(rows):
        return f"{NOTHING}: {'the row is' if len(rows) == 1 else 'the rows are'} still held. Decide again."
    if not decided:
        return f"{NOTHING}: somebody else had settled {'the row' if len(rows) == 1 else 'some of the rows'}."
    done = f"The decision is stored, {_judged(workshop)}"
    return f"{done} Still held: {some_of(left)}." if left else done


def _judged(workshop: Workshop) -> str:
    return "and judged." if _is_judged(workshop) else NOT_JUDGED


def _is_judged(workshop: Workshop) -> bool:
    return not_judged_since(workshop) is None
