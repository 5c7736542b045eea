"""The one process that writes: sheets, held rows, signals, decisions; one after the other, off the pages.

A large sheet is validated by a library that takes seconds and a quarter of a gigabyte to load. It lives here
and nowhere else: the web process stays small and answers at once while a sheet is read. `dashboard.desk`
starts the process when someone opens the sheets page, gives it one task after the other, and starts it again
should it die.
"""

from __future__ import annotations

import gc
import logging
import multiprocessing
import signal
from collections import deque
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from qc.errors import QcError
from qc.plain import JsonObject

if TYPE_CHECKING:
    from qc.jobs.board import TaskKind

_log = logging.getLogger("dashboard.worker")
Given = tuple["TaskKind", Any, str]

LEAVE_OFF = "leave off"
"""What the board says while the worker judges: somebody decides, and whoever decides has but a second."""

CHECKED_AFTER = frozenset({"held", "judge"})
"""After these what follows the row decided about last is checked, when nobody waits."""

LEFT_OFF = "Left off: a decision came first. It is judged once nobody decides any more."

QUIET_S = 20.0
"""So long without a task, and what large sheets need is loaded; chosen: a card at hand comes first."""


def work(folder: str, as_of: date | None, line: Any) -> None:
    """Work off tasks until told to stop; runs in the spawned process.

    Parameters
    ----------
    folder : str
        The workshop folder.
    as_of : date or None
        The day the board stands on.
    line : connection
        Tasks come in as (kind, what, who), None ends, and so does a board that is gone; changed fields of the
        ticket go out, ``state`` done or failed the last of each task.
    """
    from qc.jobs.board import warm, warm_for_large_sheets

    ours = multiprocessing.parent_process() is not None  # else a test runs it, and the process is the test's
    if ours:
        # Ctrl-C reaches every process of the terminal; the sheet in hand is finished all the same.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        gc.disable()
    warm()
    if not line.poll(QUIET_S):
        warm_for_large_sheets()
    if ours:
        # What is loaded stays to the end; looking it over takes 0.2 s each time, in the midst of an upload.
        gc.freeze()
        gc.enable()
    heard, decided = _Heard(line), ""
    while (task := heard.next()) is not None:
        try:
            line.send({"state": "working"})
            line.send(_done(Path(folder), as_of, task, line, heard))
        except OSError:
            return  # the board is gone: what was begun is done all the same, and nothing else is begun
        if task[0] == "held":
            decided = task[1][0][-1]
        if decided and task[0] in CHECKED_AFTER and not heard.waits():
            _check_ahead(Path(folder), as_of, decided, heard)


class _LeftOff(Exception):
    """Judging makes room for a decision."""


class _Heard:
    """What the board says: tasks one after the other, and among them that judging is to be left off."""

    def __init__(self, line: Any) -> None:
        self._line, self._kept = line, deque[object]()

    def next(self) -> Given | None:
        """Wait for a task; None when there will be no more, or the web process died without a word."""
        said: object = LEAVE_OFF
        while said == LEAVE_OFF:  # it may come when the judging has just ended
            said = self._kept.popleft() if self._kept else self._said()
        return cast("Given | None", said)

    def make_room(self, done: int, total: int, what: str) -> None:
        """Raise where judging is to be left off; what else was said is kept for `next`. Told as progress."""
        while not self._kept and self._line.poll():
            said = self._said()
            if said == LEAVE_OFF:
                raise _LeftOff
            self._kept.append(said)

    def waits(self) -> bool:
        """Say whether something was said already."""
        return bool(self._kept or self._line.poll())

    def _said(self) -> object:
        try:
            return self._line.recv()
        except (EOFError, OSError):
            return None


def _check_ahead(folder: Path, as_of: date | None, row: str, heard: _Heard) -> None:
    """Check what follows the row decided about last: whoever works down a list comes to it next."""
    from qc.jobs.board import check_next_row

    try:
        check_next_row(folder, as_of, row, heard.waits)
    except Exception:  # when it is decided about, it is checked as any other and its fault is told
        _log.exception("row after %s was not checked ahead", row)


def _done(folder: Path, as_of: date | None, task: Given, line: Any, heard: _Heard) -> JsonObject:
    """Do one task and return how its ticket ends."""
    began: dict[str, int | None] = {"before": None}
    try:
        return {"state": "done", "receipt": _do(folder, as_of, task, line, began, heard)}
    except _LeftOff:
        return {"state": "done", "receipt": {"sentence": LEFT_OFF, "reasons": []}, LEAVE_OFF: True}
    except QcError as error:
        return {"state": "failed", "message": str(error)}
    except Exception as error:  # whatever goes wrong with one sheet, the next one is still taken
        from qc.jobs.board import what_became

        _log.exception("task %s failed", task[0])
        became = what_became(folder, as_of, *task, began["before"])
        fault = f"A fault of the program ({type(error).__name__}) stopped this."
        return {"state": "failed", "message": f"{fault} {became}"}


def _do(
    folder: Path,
    as_of: date | None,
    task: Given,
    line: Any,
    began: dict[str, int | None],
    heard: _Heard,
) -> JsonObject:
    """Do one task; imported here, so that the heavy libraries load in this process alone."""
    from qc.jobs import board
    from qc.jobs.board import opened, study_file

    kind, what, who = task
    if kind == "study":
        return study_file(*what)

    def tell(done: int, total: int, what: str) -> None:
        with suppress(OSError):  # the board is gone; the sheets are taken in all the same
            line.send({"done": done, "of": total, "message": f"{what} {done} of {total} …"})

    with opened(folder, as_of) as workshop:
        began["before"] = workshop.store.pulse()[0]
        with suppress(OSError):  # the same: it has begun
            line.send(began)
        if kind == "held":
            rows, decision, changes = what
            return board.decide_held(workshop, rows, decision, changes, who, tell)
        if kind == "undo":
            rows, why = what
            return board.undo_held(workshop, rows, why, who)
        if kind == "unread":
            sheet, why = what
            return board.put_sheet_away(workshop, sheet, why, who)
        if kind == "shown":
            sheet, layout = what
            return board.read_shown(workshop, sheet, layout, who)
        if kind == "correct":
            reading, changes, why, sure = what
            return board.correct_row(workshop, reading, changes, why, sure, who)
        if kind == "signal":
            return board.say_signal(workshop, *what)
        if kind == "series":
            return board.decide_series(workshop, *what)
        if kind == "piece":
            serial, way, figure, because = what
            return board.decide_piece(workshop, serial, way, figure, because, who)
        if kind == "hear":
            return board.hear_notes(workshop, *what)
        if kind == "bench":
            return board.enter_card(workshop, what, who=who)
        if kind == "month":
            return board.write_month(workshop, what)
        if kind == "judge":
            return board.judge(workshop, heard.make_room)
        if kind == "mapped":
            files, mapping = what
            return board.take_sheets(workshop, files, who, tell, mapping)
        return board.take_sheets(workshop, what, who, tell)
