"""Has sheets read by a process of its own, within limits of memory and time, and goes on after any of them.

A workbook may make its reader take all the memory there is, run for ever or break down altogether, in ways
that no inspection foresees. So the reading is done by `child`; when that breaks, it is replaced, the sheet is
refused with one sentence, and the next one is read.
"""

from __future__ import annotations

import atexit
import logging
import os
import subprocess
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import IO, Any, NoReturn, TypeVar

from qc.ingest.errors import SheetError
from qc.ingest.reading.apart import command, python_can_be_started, surroundings
from qc.ingest.reading.child import MAX_ANSWER, answer, receive, send
from qc.ingest.reading.grid import Grid

MEGABYTES = 800
"""Most memory for reading one sheet. Measured: 20 MB of csv take 310 MB, the most cells of a workbook 340 MB;
more than twice that leaves room for long texts. [MB]"""

SECONDS = 60
"""Longest reading of one sheet. Measured: the most cells of a workbook take 6 s on two slow cores; ten times
that leaves room for a busy machine. [s]"""

START_SECONDS = 30
"""Longest start of the process; it takes a tenth of a second on an idle machine. [s]"""

HINT = "Copy the table into a new workbook and save that, save it as csv, or split it."
LOG_TAIL = 4_000
T = TypeVar("T")

_log = logging.getLogger("qc.reading")
_log.addHandler(logging.NullHandler())  # without it Python prints to stderr where nobody set a log up


class SheetReader:
    r"""Reads the sheets of one batch, or of a whole worker's life.

    The process is started at once and not waited for, so that it gets ready while the caller does other
    things.
    Where no Python can be started (an interpreter inside another program), sheets are read in this process,
    after the same inspection; `alone` tells.

    Parameters
    ----------
    seconds, megabytes : int
        Limits for one sheet. [s], [MB]

    Examples
    --------
    >>> with batch_reader() as reader:
    ...     [grid.rows for grid in reader.read("a.csv", b"Wall;x\n0,5;a\n")]
    [(('Wall', 'x'), ('0,5', 'a'))]
    """

    def __init__(self, *, seconds: int = SECONDS, megabytes: int = MEGABYTES) -> None:
        self.seconds, self.megabytes = seconds, megabytes
        self.alone = not python_can_be_started()
        self.limited = False
        self.owner = os.getpid()
        self._greeted = False
        self._number = 0
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._errors: IO[bytes] | None = None
        self._start()

    def read(self, name: str, data: bytes) -> list[Grid]:
        """Read one uploaded file as `read_sheet` does.

        Parameters
        ----------
        name : str
            The file's name, used in messages only.
        data : bytes
            Its content.

        Raises
        ------
        SheetError
            What `read_sheet` refuses; a sheet that takes more memory or time than there is for one, or that
            broke the reader.
        """
        return self._ask({"what": "sheet", "name": name}, data, name, _grids)

    def rows(self, data: bytes, tab: str, *, midnight: bool = False) -> list[list[str]]:
        """Read one tab of a workbook as `read_tab` does; errors as of `read`, without the file's name."""
        return self._ask({"what": "tab", "tab": tab, "midnight": midnight}, data, "", _rows)

    def close(self) -> None:
        """End the process; another sheet starts a new one."""
        with self._lock:
            self._drop()

    def _ask(
        self, question: dict[str, Any], data: bytes, name: str, take: Callable[[dict[str, Any]], T]
    ) -> T:
        """Put a question to the process and settle what became of it."""
        with self._lock:
            found = self._alone_or_answered(question, data, name)
        if found.get("fault") == "memory":
            self.close()  # what it still holds is not known
            self._break(name, f"reading it takes more than {self.megabytes:,} MB of memory")
        if found.get("fault") == "size":
            self._break(name, f"it holds more than {MAX_ANSWER // 1_000_000} MB of text")
        if "fault" in found:
            self._break(name, "it is damaged in a way that broke the reader")
        try:
            taken = SheetError(**found["refused"]) if "refused" in found else take(found)
        except (KeyError, TypeError, ValueError):
            self.close()
            self._break(name, "reading it gave an answer that is none")
        if isinstance(taken, SheetError):
            raise taken
        return taken

    def _alone_or_answered(self, question: dict[str, Any], data: bytes, name: str) -> dict[str, Any]:
        for _ in range(2):  # a process ended from outside is no fault of the sheet: it is read once more
            if not self.alone and not self._ready():
                self.alone = True
                _log.warning("no process can be started to read sheets in; they are read in this one")
            if self.alone:
                return answer(question, data)
            found, late = self._answered(question, data)
            if found is not None:
                return found
            if late:
                self._break(name, f"reading it takes more than {self.seconds} seconds")
        self._break(name, "reading it broke off: it is damaged, or holds far more than a bench sheet")

    def _answered(self, question: dict[str, Any], data: bytes) -> tuple[dict[str, Any] | None, bool]:
        """Return the answer, None where the process broke; and whether that was for the time it took."""
        self._number += 1
        asked = {**question, "number": self._number, "size": len(data)}
        found, late = self._exchange(asked, data, self.seconds)
        if found is None or found.get("number") != self._number:
            self._drop(told=True)
            return None, late
        return found, False

    def _exchange(
        self, asked: dict[str, Any] | None, data: bytes, seconds: int
    ) -> tuple[dict[str, Any] | None, bool]:
        """Send a question, or none, and wait for a message; the process is ended when the time is over."""
        process = self._process
        assert process is not None and process.stdin is not None and process.stdout is not None
        late = threading.Event()

        def stop() -> None:
            late.set()
            process.kill()

        watch = threading.Timer(seconds, stop)
        watch.daemon = True
        watch.start()
        found = None
        try:
            if asked is not None:
                send(process.stdin, asked, data)  # type: ignore[arg-type]
            found = receive(process.stdout, MAX_ANSWER)  # type: ignore[arg-type]
        except (OSError, ValueError, RecursionError):  # a pipe that broke; an answer that is none
            pass
        except BaseException:  # interrupted: the answer to come would be taken for that to the next question
            self._drop()
            raise
        finally:
            watch.cancel()
            watch.join()
        return (None if late.is_set() else found), late.is_set()

    def _ready(self) -> bool:
        """Have a process that has greeted; False where none can be had."""
        if self._process is not None and self._process.poll() is not None:
            self._drop(told=True)
        for _ in range(2):
            if self._process is None:
                self._start()
            if self._process is None:
                return False
            if self._greeted:
                return True
            greeting, _late = self._exchange(None, b"", START_SECONDS)
            if greeting is not None and "limited" in greeting:
                self._greeted, self.limited = True, bool(greeting["limited"])
                return True
            self._drop(told=True)
        return False

    def _start(self) -> None:
        """Start the process that reads sheets; that none starts is written to the log."""
        if self.alone:
            return
        self._greeted = False
        self._errors = _room_for_errors()
        try:
            self._process = subprocess.Popen(
                [*_command(), str(self.megabytes), str(self.seconds)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._errors,
                env=surroundings(),
            )
        except OSError as error:
            _log.warning("the process that reads sheets does not start: %s", error)
            self._drop()

    def _drop(self, *, told: bool = False) -> None:
        """End the process and let go of all that belongs to it; what it printed goes to the log if `told`."""
        process, errors = self._process, self._errors
        self._process, self._errors = None, None
        if process is not None:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                if pipe is not None:
                    with suppress(OSError):  # what was not yet written cannot be
                        pipe.close()
        if errors is not None:
            with errors:
                if told and process is not None:
                    errors.seek(max(0, errors.seek(0, os.SEEK_END) - LOG_TAIL))
                    printed = errors.read().decode(errors="replace").strip()
                    _log.warning("the process that reads sheets ended (%s). %s", process.returncode, printed)

    def _break(self, name: str, problem: str) -> NoReturn:
        raise SheetError(name, problem, HINT) from None


def _room_for_errors() -> IO[bytes]:
    """Open a place for what the process prints when it breaks; on a full disk that is thrown away."""
    try:
        return tempfile.TemporaryFile()
    except OSError:
        return open(os.devnull, "w+b")


_kept: SheetReader | None = None


def keep_reader() -> None:
    """Start the process that reads sheets now, and keep it until this process ends.

    For a command, whose own libraries take longer to load than the reader takes to start, and for a worker
    that takes in one sheet after another.
    """
    global _kept
    if _kept is None or _kept.owner != os.getpid():
        _kept = SheetReader()
        atexit.register(_kept.close)


@contextmanager
def batch_reader() -> Iterator[SheetReader]:
    """Give the reader that is kept, else one for this batch alone."""
    if _kept is not None and _kept.owner == os.getpid():
        yield _kept
        return
    reader = SheetReader()
    try:
        yield reader
    finally:
        reader.close()


def _command() -> list[str]:
    return command("qc.ingest.reading.child")


def _grids(found: dict[str, Any]) -> list[Grid]:
    """Take the grids of an answer; JSON knows lists only."""
    return [
        Grid(
            **{
                **told,
                "rows": tuple(tuple(row) for row in told["rows"]),
                "lines": tuple(told["lines"]),
                "widths": tuple(told["widths"]),
                "boxes": tuple(tuple(box) for box in told["boxes"]),
                "passed_over": tuple(told["passed_over"]),
                "origins": (),  # a sheet as read stands as it was handed in
            }
        )
        for told in found["grids"]
    ]


def _rows(found: dict[str, Any]) -> list[list[str]]:
    """Take the rows of an answer."""
    return [list(row) for row in found["rows"]]
