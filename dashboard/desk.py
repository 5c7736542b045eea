"""The board's side of its worker: what waits, in order; who does it; how each ticket ends.

The worker may die, be killed for the memory it takes, or fall silent. Then the task it had in hand is not
tried again, since it may be what ended it: its ticket ends in a sentence that says what of it is stored. A
new worker takes its place at once and goes on with what waits.
"""

from __future__ import annotations

import logging
import multiprocessing
import secrets
import threading
import time
from collections import deque
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final

from dashboard.spool import Spool
from dashboard.worker import LEAVE_OFF, work
from qc.jobs.board import UNKNOWN, DeskFull, TaskKind, what_became
from qc.sayings import Saying

if TYPE_CHECKING:
    from qc.jobs.board import Ticket

KEPT_TICKETS: Final = 200
"""Ended tickets remembered; what waits or is worked on is never forgotten."""

MOST_WAITING: Final = 200  # chosen: a mend takes a quarter of a second, a day's sheets some seconds
MOST_EACH: Final = 50
"""Tasks that may wait in all, and of one person."""

MOST_BYTES: Final = 2 * 2**30
"""Files that may wait on the disk at once [bytes]."""

SILENCE_S: Final = 900.0
"""Longest time without a word from the worker before it is ended [s]; years of sheets take minutes."""

QUIET_S: Final = 5.0
"""Judging follows held rows that were settled once no further decision came for so long [s]; chosen: whoever
works down a list needs a few seconds for each row, and judging would keep the next one waiting. A page opened
meanwhile has it judged at once."""

AT_ONCE: Final = frozenset({"held", "undo"})
MOST_LEFT_OFF: Final = 5
"""Judging makes room for such tasks, so often in a row; then it comes to its end; chosen."""

FALSE_STARTS: Final = 2
"""Workers in a row that may die before they are ready; after that what waits is told so."""

_log = logging.getLogger("dashboard.desk")

NEVER_BEGUN: Final = "The board was stopped before it came to this. Nothing of it was stored."
NO_WORKER: Final = (
    "The board's worker cannot start. Nothing of it was stored. What stopped it stands where the board was "
    "started; stop the board and start it again."
)


@dataclass(slots=True)
class _Task:
    ticket: str
    kind: TaskKind
    what: Any
    who: str
    folder: Path | None = None
    size: int = 0
    before: int | None = None  # newest entry when the worker began


@dataclass(slots=True)
class _Worker:
    process: Any
    line: Any


class WorkerDesk:
    """Hands tasks to a spawned process and keeps what it answers.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    as_of : date, optional
        The day the board stands on.
    """

    def __init__(self, folder: Path, as_of: date | None = None) -> None:
        self._folder, self._as_of = folder, as_of
        # spawned, not forked: a copy of a process with threads may inherit a lock that nobody will release
        self._context = multiprocessing.get_context("spawn")
        self._changed = threading.Condition()
        self._tickets: dict[str, Ticket] = {}
        self._ended: deque[str] = deque()
        self._waiting: deque[_Task] = deque()
        self._in_hand: _Task | None = None
        self._left_off = 0  # times in a row
        self._judge_at: float | None = None  # on the steady clock: when what was settled is judged
        self._worker: _Worker | None = None
        self._thread: threading.Thread | None = None
        self._closing = False
        self.spool = Spool(folder)

    def submit(self, files: Sequence[tuple[str, IO[bytes]]], who: str) -> str:
        """Queue sheets for upload and return a ticket."""
        self._room_for(who)
        folder, kept = self.spool.keep(files)
        return self._queue("upload", kept, who, folder)

    def submit_mapped(self, files: Sequence[tuple[str, IO[bytes]]], mapping: str, who: str) -> str:
        """Queue sheets with what their headings mean and return a ticket."""
        self._room_for(who)
        folder, kept = self.spool.keep(files)
        return self._queue("mapped", (kept, mapping), who, folder)

    def enter(self, sent: Mapping[str, object], who: str) -> str:
        """Queue a card that was typed at the bench; the same entry sent again has the same ticket."""
        with self._changed:
            for task in [*self._waiting, *([self._in_hand] if self._in_hand else [])]:
                if task.kind == "bench" and task.what["entry"] == sent["entry"]:
                    return task.ticket
        return self._queue("bench", dict(sent), who)

    def decide(self, rows: Sequence[str], decision: str, changes: Mapping[str, str], who: str) -> str:
        """Queue a decision on held rows and return a ticket."""
        return self._queue("held", (list(rows), decision, dict(changes)), who)

    def undo(self, rows: Sequence[str], who: str, why: str) -> str:
        """Queue the undoing of decisions on held rows and return a ticket."""
        return self._queue("undo", (list(rows), why), who)

    def show_layout(self, sheet: str, layout: str, who: str) -> str:
        """Queue that a sheet which waits is read through a layout, as text, and return a ticket."""
        return self._queue("shown", (sheet, layout), who)

    def put_away(self, sheet: str, who: str, why: str) -> str:
        """Queue that a sheet which waits for its layout is put away, and return a ticket."""
        return self._queue("unread", (sheet, why), who)

    def correct(self, reading: str, changes: Mapping[str, str], who: str, why: str, sure: bool) -> str:
        """Queue a correction of a reading, without changes its withdrawal, and return a ticket."""
        return self._queue("correct", (reading, dict(changes), why, sure), who)

    def say(self, signal_id: str, saying: Saying) -> str:
        """Queue what is said of a signal and return a ticket."""
        return self._queue("signal", (signal_id, saying), saying.who)

    def decide_series(self, series: str, saying: Saying) -> str:
        """Queue a lead's decision about a series and return a ticket."""
        return self._queue("series", (series, saying), saying.who)

    def decide_piece(self, serial: str, what: str, figure: str, who: str, why: str) -> str:
        """Queue a release, or that a piece is kept back, and return a ticket."""
        return self._queue("piece", (serial, what, figure, why), who)

    def write_month(self, month: str, who: str) -> str:
        """Queue that the report of a month is written, and return a ticket."""
        return self._queue("month", month, who)

    def study_gauge(self, file: tuple[str, IO[bytes]], question: Mapping[str, str], who: str) -> str:
        """Queue a gauge study of a file and return a ticket; nothing of it is stored."""
        self._room_for(who)
        folder, (kept,) = self.spool.keep([file])
        return self._queue("study", (kept, dict(question)), who, folder)

    def hear(self, file: tuple[str, IO[bytes]], serial: str, who: str) -> str:
        """Queue a recording of a piece's notes and return a ticket; nothing of it is stored."""
        self._room_for(who)
        folder, (kept,) = self.spool.keep([file])
        return self._queue("hear", (kept, serial), who, folder)

    def judge(self) -> None:
        """Have judged what waits for it, unless that is under way."""
        with self._changed:
            under_way = [*self._waiting, *([self._in_hand] if self._in_hand else [])]
            if any(task.kind == "judge" for task in under_way):
                return
        with suppress(
            DeskFull
        ):  # whoever asked for a page, or saved the plan, was not refused; it is asked again
            self._queue("judge", None, "")

    def warm(self) -> None:
        """Start the process if it does not run; its first task then finds everything loaded."""
        with self._changed:
            self._start()

    def progress(self, ticket: str) -> Ticket | None:
        """Return how far a ticket is, or None for one that is not known."""
        with self._changed:
            found = self._tickets.get(ticket)
            if found is None:
                return None
            copy = found.copy()
            if copy["state"] == "waiting":
                before = next((n for n, task in enumerate(self._waiting) if task.ticket == ticket), 0)
                before += self._in_hand is not None
                copy["message"] = f"Waiting; {before} before it …" if before else "Waiting for its turn …"
            return copy

    def ended(self, ticket: str, seconds: float) -> bool:
        """Wait until a ticket has ended, for so long at most; say whether it has."""
        over, ends = {"state": "done"}, {"done", "failed"}
        with self._changed:
            return self._changed.wait_for(lambda: self._tickets.get(ticket, over)["state"] in ends, seconds)

    def close(self) -> None:
        """Stop the process after the task in hand; what still waits is told so."""
        with self._changed:
            self._closing = True
            while self._waiting:
                self._end(self._waiting.popleft(), NEVER_BEGUN)
            worker, thread = self._worker, self._thread
            self._changed.notify_all()
        if worker is not None:
            with suppress(OSError):  # it is gone already
                worker.line.send(None)
            worker.process.join(10)  # chosen: a large sheet in hand takes seconds; what hangs longer is ended
            if worker.process.is_alive():
                worker.process.terminate()
        if thread is not None:
            thread.join(10)
        self.spool.close()

    # --- what waits

    def _room_for(self, who: str) -> None:
        """Raise where nothing more can wait, before anything is copied."""
        with self._changed:
            if len(self._waiting) >= MOST_WAITING:
                raise DeskFull(
                    f"{MOST_WAITING} tasks wait for the board already. Nothing was stored; send this again "
                    "in a minute.",
                    503,
                )
            if sum(task.who == who for task in self._waiting) >= MOST_EACH:
                said = f"of {who} " if who else ""
                raise DeskFull(
                    f"{MOST_EACH} tasks {said}wait already. Nothing was stored; send this again when they "
                    "are done.",
                    429,
                )
            if sum(task.size for task in self._waiting) >= MOST_BYTES:
                raise DeskFull(
                    f"{MOST_BYTES // 2**20} MB of sheets wait for the board already. Nothing was stored; "
                    "send this again in a few minutes.",
                    503,
                    wait_s=120,
                )

    def _queue(self, kind: TaskKind, what: Any, who: str, folder: Path | None = None) -> str:
        """Put a task in the queue and give its ticket; without room its files are taken away again."""
        ticket = secrets.token_urlsafe(9)
        size = sum(file.stat().st_size for file in folder.iterdir()) if folder else 0
        of = len(what) if kind == "upload" else len(what[0]) if kind == "mapped" else 1
        with self._changed:
            try:
                self._room_for(who)
            except DeskFull:
                self.spool.forget(folder)
                raise
            self._tickets[ticket] = {"state": "waiting", "done": 0, "of": of, "message": "", "receipt": None}
            self._waiting.append(_Task(ticket, kind, what, who, folder, size))
            if kind in AT_ONCE:
                self._leave_off()
            self._start()
            self._changed.notify_all()
        return ticket

    def _end(self, task: _Task, message: str, receipt: Any = None) -> None:
        """End a ticket: in a receipt, or in a sentence. The lock is held."""
        self._tickets[task.ticket] |= {
            "state": "done" if receipt is not None else "failed",
            "message": message,
            "receipt": receipt,
        }
        self._ended.append(task.ticket)
        while len(self._ended) > KEPT_TICKETS:
            self._tickets.pop(self._ended.popleft(), None)
        if task.kind in AT_ONCE:
            self._judge_at = time.monotonic() + QUIET_S
        self._changed.notify_all()
        self.spool.forget(task.folder)

    def _leave_off(self) -> None:
        """Have judging left off; it follows once nobody decides any more. The lock is held."""
        judging = self._in_hand is not None and self._in_hand.kind == "judge"
        if judging and self._left_off < MOST_LEFT_OFF and self._worker is not None:
            with suppress(OSError):  # it has died
                self._worker.line.send(LEAVE_OFF)
            self._left_off += 1

    # --- who does it

    def _start(self) -> None:
        """Start the thread that hands out tasks. The lock is held."""
        if self._thread is None and not self._closing:
            self._thread = threading.Thread(target=self._hand_out, name="board-desk", daemon=True)
            self._thread.start()

    def _hand_out(self) -> None:
        false_starts = 0
        while True:
            with suppress(OSError):  # asked again, and told, with the next task
                self._at_work()
            with self._changed:
                # a worker that died with nothing in hand is replaced when it is needed
                self._wait_for_work()
                if self._closing:
                    return
                task = self._in_hand = self._waiting.popleft()
            done, begun = self._do(task)
            false_starts = 0 if begun else false_starts + 1
            if done or self._closing or begun or false_starts >= FALSE_STARTS:
                if not done:
                    self._settle(task, "" if begun else NEVER_BEGUN if self._closing else NO_WORKER)
                false_starts = 0
            with self._changed:
                self._in_hand = None
                if false_starts:
                    self._tickets[task.ticket] |= {"state": "waiting"}
                    self._waiting.appendleft(task)

    def _wait_for_work(self) -> None:
        """Wait until something is to be done, be it to judge what was settled. The lock is held."""
        while not (self._waiting or self._closing):
            left = None if self._judge_at is None else self._judge_at - time.monotonic()
            if left is not None and left <= 0:
                self._judge_at = None
                self.judge()
            else:
                self._changed.wait(left)

    def _at_work(self) -> _Worker:
        """Return the worker, a new one where there is none or it died.

        Raises
        ------
        OSError
            The system starts no process.
        """
        if self._worker is None or not self._worker.process.is_alive():
            ours, theirs = self._context.Pipe()
            process = self._context.Process(
                target=work, args=(str(self._folder), self._as_of, theirs), name="board-worker", daemon=True
            )
            process.start()
            theirs.close()  # else its end would not be seen when it dies
            self._worker = _Worker(process, ours)
        return self._worker

    def _do(self, task: _Task) -> tuple[bool, bool]:
        """Have a task done; returns whether its ticket ended, and whether the worker began with it.

        A worker that says nothing for too long is ended.
        """
        begun = False
        try:
            worker = self._at_work()
            worker.line.send((task.kind, task.what, task.who))
            while worker.line.poll(SILENCE_S):
                change = worker.line.recv()
                begun = True
                with self._changed:
                    if "before" in change:
                        task.before = change.pop("before")
                    if change.get("state") in {"done", "failed"}:
                        if task.kind == "judge" and not change.pop(LEAVE_OFF, False):
                            self._left_off = 0
                        self._end(task, change.get("message", ""), change.get("receipt"))
                        return True, True
                    self._tickets[task.ticket] |= change
        except (OSError, EOFError):
            worker_gone = self._worker
        else:
            worker_gone, begun = worker, True
        if worker_gone is not None:
            worker_gone.process.kill()
            worker_gone.process.join()
        return False, begun

    def _settle(self, task: _Task, sentence: str) -> None:
        """End the ticket of a task that ended its worker, and have judged what it left unjudged."""
        if not sentence:
            try:
                became = what_became(self._folder, self._as_of, task.kind, task.what, task.who, task.before)
            except Exception as error:  # whoever waits for this ticket is told all the same
                _log.exception("what became of task %s cannot be told", task.kind)
                became = UNKNOWN.format(f"{type(error).__name__}.")
            sentence = f"The board's worker stopped before this was done. {became}"
        with self._changed:
            self._end(task, sentence)
        # what judges and dies of it is not asked to judge again until something new comes in
        if task.kind not in {"judge", "study", "hear"} and not self._closing:
            self.judge()
