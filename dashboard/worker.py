"""The one process that writes: sheets, held rows, signals, decisions; one after the other, off the pages.

Validation needs a library that takes seconds and a quarter of a gigabyte to load. It lives here and nowhere
else: the web process stays small and answers at once while a sheet is read. The process starts when someone
opens the sheets page, and is started again should it die.
"""

from __future__ import annotations

import gc
import logging
import multiprocessing
import secrets
import signal
import threading
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from queue import Empty
from typing import TYPE_CHECKING, Any, Final, cast

from qc.errors import QcError
from qc.plain import JsonObject
from qc.sayings import Saying

if TYPE_CHECKING:
    from qc.jobs.board import Ticket

KEPT_TICKETS: Final = 200
"""Tickets remembered; the oldest are forgotten first."""

WATCH_S: Final = 2.0
"""How often a waiting worker looks whether the board still lives [s]."""

STOPPED: Final = (
    "The worker stopped before it was done. Look at the list of sheets below: a sheet that is not there "
    "was not stored. Send it again; rows that are known already change nothing."
)

_log = logging.getLogger("dashboard.worker")
Task = tuple[str, str, Any, str]


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
        self._lock = threading.Lock()
        self._tickets: dict[str, Ticket] = {}
        self._process: Any = None
        self._tasks: Any = None

    def submit(self, files: Sequence[tuple[str, bytes]], who: str) -> str:
        """Queue sheets for upload and return a ticket."""
        return self._queue("upload", list(files), who, of=len(files))

    def decide(self, rows: Sequence[str], decision: str, changes: Mapping[str, str], who: str) -> str:
        """Queue a decision on held rows and return a ticket."""
        return self._queue("held", (list(rows), decision, dict(changes)), who, of=1)

    def say(self, signal_id: str, saying: Saying) -> str:
        """Queue what is said of a signal and return a ticket."""
        return self._queue("signal", (signal_id, saying), saying.who, of=1)

    def decide_series(self, series: str, saying: Saying) -> str:
        """Queue a lead's decision about a series and return a ticket."""
        return self._queue("series", (series, saying), saying.who, of=1)

    def study_gauge(self, file: tuple[str, bytes], question: Mapping[str, str]) -> str:
        """Queue a gauge study of a file and return a ticket; nothing of it is stored."""
        return self._queue("study", (file, dict(question)), "", of=1)

    def warm(self) -> None:
        """Start the process if it does not run; its first task then finds everything loaded."""
        with self._lock:
            self._start()

    def progress(self, ticket: str) -> Ticket | None:
        """Return how far a ticket is, or None for one that is not known."""
        with self._lock:
            found = self._tickets.get(ticket)
            if found is None:
                return None
            alive = self._process is not None and self._process.is_alive()
            if not alive and found["state"] in {"waiting", "working"}:
                found |= {"state": "failed", "message": STOPPED}
            return found.copy()

    def close(self) -> None:
        """Stop the process after the task in hand."""
        with self._lock:
            if self._process is None:
                return
            self._tasks.put(None)
            process, self._process = self._process, None
        # chosen: a large sheet in hand takes seconds; what hangs longer is ended
        process.join(10)
        if process.is_alive():
            process.terminate()

    def _queue(self, kind: str, what: Any, who: str, of: int) -> str:
        ticket = secrets.token_urlsafe(9)
        with self._lock:
            self._start()
            self._tickets[ticket] = {"state": "waiting", "done": 0, "of": of, "message": "", "receipt": None}
            while len(self._tickets) > KEPT_TICKETS:
                self._tickets.pop(next(iter(self._tickets)))
            self._tasks.put((ticket, kind, what, who))
        return ticket

    def _start(self) -> None:
        if self._process is not None and self._process.is_alive():
            return
        tasks, answers = self._context.Queue(), self._context.Queue()
        process = self._context.Process(
            target=work,
            args=(str(self._folder), self._as_of, tasks, answers),
            name="board-uploads",
            daemon=True,
        )
        process.start()
        self._tasks, self._process = tasks, process
        threading.Thread(target=self._listen, args=(process, answers), daemon=True).start()

    def _listen(self, process: Any, answers: Any) -> None:
        while True:
            try:
                ticket, change = answers.get(timeout=1.0)
            except Empty:
                if not process.is_alive():
                    return
                continue
            with self._lock:
                if ticket in self._tickets:
                    self._tickets[ticket] |= change


def work(folder: str, as_of: date | None, tasks: Any, answers: Any) -> None:
    """Work off tasks until told to stop; runs in the spawned process.

    Parameters
    ----------
    folder : str
        The workshop folder.
    as_of : date or None
        The day the board stands on.
    tasks, answers : queue
        Tasks come in as (ticket, kind, what, who), None ends; answers go out as (ticket, changed fields).
    """
    from qc.jobs.board import warm

    ours = multiprocessing.parent_process() is not None  # else a test runs it, and the process is the test's
    if ours:
        # Ctrl-C reaches every process of the terminal; the sheet in hand is finished all the same.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        gc.disable()
    warm()
    if ours:
        # What is loaded stays to the end; looking it over takes 0.2 s each time, in the midst of an upload.
        gc.freeze()
        gc.enable()
    while (task := _next(tasks)) is not None:
        ticket = task[0]
        try:
            receipt = _do(Path(folder), as_of, task, answers)
        except QcError as error:
            answers.put((ticket, {"state": "failed", "message": str(error)}))
        except Exception as error:  # whatever goes wrong with one sheet, the next one is still taken
            _log.exception("task %s failed", task[1])
            message = (
                f"A fault of the program ({type(error).__name__}) stopped this. Nothing of it was stored."
            )
            answers.put((ticket, {"state": "failed", "message": message}))
        else:
            answers.put((ticket, {"state": "done", "receipt": receipt}))


def _next(tasks: Any) -> Task | None:
    """Wait for a task; None when there will be no more, be it that the web process died without a word."""
    while True:
        try:
            return cast("Task | None", tasks.get(timeout=WATCH_S))
        except Empty:
            parent = multiprocessing.parent_process()
            if parent is not None and not parent.is_alive():
                return None


def _do(folder: Path, as_of: date | None, task: Task, answers: Any) -> JsonObject:
    """Do one task; imported here, so that the heavy libraries load in this process alone."""
    from qc.jobs.board import decide_held, decide_series, opened, say_signal, study_file, take_sheets

    ticket, kind, what, who = task
    answers.put((ticket, {"state": "working"}))
    if kind == "study":
        return study_file(*what)

    def tell(done: int, total: int, what: str) -> None:
        answers.put((ticket, {"done": done, "of": total, "message": f"{what} {done} of {total} …"}))

    with opened(folder, as_of) as workshop:
        if kind == "held":
            rows, decision, changes = what
            return decide_held(workshop, rows, decision, changes, who)
        if kind == "signal":
            return say_signal(workshop, *what)
        if kind == "series":
            return decide_series(workshop, *what)
        return take_sheets(workshop, what, who, tell)
