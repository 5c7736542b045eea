"""Runs commands of the program in processes that are killed, starved of disk or held up, hundreds of times.

A cold start costs two seconds, most of it for the validator. So one process imports everything and then only
forks: each fork is a whole run of ``qc`` of its own, with its own memory, files and locks, and may be killed.
The process that forks never runs a command itself, or threads of its libraries would be missing in the forks.

Started by `Driver`, as a program of its own: a test process has threads already.
"""

from __future__ import annotations

import gc
import json
import os
import resource
import selectors
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LONGEST_S = 120.0
"""No command here takes that long where it has a processor when it wants one; one that does hangs."""
LOOK_S = 2.0  # so often it is looked how long a command had to wait for a processor
ONE_THREAD = ("POLARS_MAX_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")


@dataclass(frozen=True)
class Run:
    """One run of a command.

    Attributes
    ----------
    code : int
        Exit code; minus the signal's number where it was killed.
    seconds : float
        From the fork to its end.
    steps : int
        Statements and commits that reached the database; 0 where it was killed.
    peak_kb : int
        The most memory it held.
    """

    code: int
    out: str
    err: str
    seconds: float
    steps: int
    peak_kb: int

    @property
    def killed(self):
        """Whether the kill came before its end."""
        return self.code == -signal.SIGKILL


@dataclass
class Plan:
    """How a command is run.

    Attributes
    ----------
    words : list of str
        What a person types after ``qc``.
    kill_after : float, optional
        Seconds after which it is killed.
    kill_at : int, optional
        Number of the statement or commit before which it is killed.
    file_limit : int, optional
        Bytes that no file may grow beyond: a full disk without one.
    before : str
        One of `HOOKS`, done in the fork before the command.
    wait : float
        Seconds to wait before it begins.
    longest : float
        Seconds after which it hangs, those left out in which it waited for a processor.
    """

    words: list
    kill_after: float | None = None
    kill_at: int | None = None
    file_limit: int | None = None
    before: str = ""
    wait: float = 0.0
    longest: float = LONGEST_S
    env: dict = field(default_factory=dict)


class Driver:
    """The process that forks, seen from a test; close it, or use it in a ``with``."""

    def __init__(self):
        env = {**os.environ, "PYTHONPATH": str(ROOT), **dict.fromkeys(ONE_THREAD, "1")}
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).resolve())],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=env,
        )
        self.peak_kb = 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        """End the process that forks."""
        self._process.communicate()

    def run(self, *words, **how):
        """Run one command to its end, or to its kill; see `Plan`."""
        return self.together(Plan([str(word) for word in words], **how))[0]

    def together(self, *plans):
        """Run commands at the same time."""
        self._process.stdin.write(json.dumps([vars(plan) for plan in plans]) + "\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        assert line, "the process that forks has ended"
        runs = [Run(**answer) for answer in json.loads(line)]
        self.peak_kb = max(self.peak_kb, *(run.peak_kb for run in runs))
        return runs


def serve():
    """Answer requests until the input ends: each line a list of plans, run at the same time."""
    _import_everything()
    for line in sys.stdin:
        answers = _run_together([Plan(**one) for one in json.loads(line)])
        sys.stdout.write(json.dumps(answers) + "\n")
        sys.stdout.flush()


def _import_everything():
    import alembic.command
    import alembic.config
    import alembic.runtime.migration  # noqa: F401
    import jinja2  # noqa: F401
    import polars  # noqa: F401
    import pydantic.type_adapter  # noqa: F401
    import scipy.stats  # noqa: F401
    import typer._adapters  # noqa: F401
    import typst  # noqa: F401
    import xlsxwriter  # noqa: F401

    import qc.cli.main
    import qc.ingest.checking.checked
    import qc.jobs.ahead
    import qc.jobs.backup
    import qc.jobs.baseline
    import qc.jobs.bench
    import qc.jobs.board
    import qc.jobs.judging.touched
    import qc.jobs.judging.verdicts
    import qc.jobs.monthly.closing
    import qc.jobs.monthly.writing
    import qc.jobs.office
    import qc.jobs.rejudge
    import qc.jobs.rows.settling
    import qc.jobs.signals
    import qc.jobs.status
    import qc.jobs.upload
    import qc.jobs.verify

    # building the commands from their signatures takes as long as most of them need to run
    qc.cli.main._commands()
    gc.collect()
    gc.freeze()  # or looking for garbage would copy all of this memory into each fork


@dataclass
class _Child:
    pid: int
    plan: Plan
    begun: float
    pipes: dict
    texts: dict = field(default_factory=lambda: {"out": b"", "err": b"", "steps": b""})
    waited: dict = field(default_factory=dict)

    def end(self):
        """Return when it is to be killed, by the steady clock, as far as that is known now."""
        if self.plan.kill_after is not None:
            return self.begun + self.plan.kill_after
        return self.begun + self.plan.longest + waited_s(self.pid, self.waited)


def waited_s(pid, known, proc=Path("/proc")):
    """Return how long a process and those it started waited for a processor [s]; 0 where no system tells.

    On a machine with other work a command takes ten times as long without hanging. `known` keeps what those
    waited that have ended since: process -> nanoseconds (Linux, Documentation/scheduler/sched-stats.rst).
    """
    ours = [pid]
    for one in ours:
        try:
            known[one] = int((proc / str(one) / "schedstat").read_text().split()[1])
            ours += map(int, (proc / str(one) / "task" / str(one) / "children").read_text().split())
        except (OSError, ValueError, IndexError):
            continue  # it has ended, or the system keeps no such account
    return sum(known.values()) / 1e9


def _run_together(plans):
    children = [_fork(plan) for plan in plans]
    with selectors.DefaultSelector() as selector:
        for child in children:
            for name, handle in child.pipes.items():
                selector.register(handle, selectors.EVENT_READ, (child, name))
        while selector.get_map():
            now = time.monotonic()
            waits = [child.end() - now for child in children]
            for key, _ in selector.select(min(LOOK_S, max(0.0, min(waits)))):
                child, name = key.data
                got = os.read(key.fd, 65536)
                child.texts[name] += got
                if not got:
                    selector.unregister(key.fd)
                    os.close(key.fd)
            for child in children:
                if time.monotonic() >= child.end():
                    os.kill(child.pid, signal.SIGKILL)  # not yet waited for, so the number is still its own
                    child.plan.kill_after = LONGEST_S * 10
    return [_answer(child) for child in children]


def _answer(child):
    _, status, used = os.wait4(child.pid, 0)
    return {
        "code": os.waitstatus_to_exitcode(status),
        "out": child.texts["out"].decode("utf-8", "replace"),
        "err": child.texts["err"].decode("utf-8", "replace"),
        "seconds": time.monotonic() - child.begun,
        "steps": int(child.texts["steps"] or 0),
        "peak_kb": used.ru_maxrss,
    }


def _fork(plan):
    pipes = {name: os.pipe() for name in ("out", "err", "steps")}
    begun = time.monotonic()
    pid = os.fork()
    if pid:
        for _, into in pipes.values():
            os.close(into)
        return _Child(pid, plan, begun, {name: out for name, (out, _) in pipes.items()})
    code = 99
    try:
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(pipes["out"][1], 1)
        os.dup2(pipes["err"][1], 2)
        code = _command(plan, pipes["steps"][1])
        sys.stdout.flush()
        sys.stderr.flush()
    except BaseException:
        import traceback

        os.write(2, traceback.format_exc().encode("utf-8", "replace"))
    finally:
        os._exit(code)


def _command(plan, steps):
    from qc.cli.main import main

    main = BY_THE_BOARD.get(plan.words[0], main)
    os.environ.update(plan.env)
    count = _count_steps(plan.kill_at)
    if plan.file_limit is not None:
        signal.signal(
            signal.SIGXFSZ, signal.SIG_IGN
        )  # then a write beyond the limit fails, as on a full disk
        resource.setrlimit(resource.RLIMIT_FSIZE, (plan.file_limit, plan.file_limit))
    if plan.before:
        HOOKS[plan.before]()
    time.sleep(plan.wait)
    code = main(plan.words)
    os.write(steps, str(count[0]).encode())
    return code


def _save_plan(words):
    """Save a plan as the board does: what was typed lies in a file of the workshop; see `_by_the_board`."""
    from qc.jobs.office import StoreOffice, mark_of
    from qc.plan import read_plan_text

    def save(shop, typed, who, why):
        mark = mark_of(read_plan_text(shop / "plan.yaml"))
        faults = StoreOffice(shop).save((shop / typed).read_text("utf-8"), who, why, mark).faults
        assert not faults, faults

    return _by_the_board(save, words)


def _enter_card(words):
    """Take in a card that was typed at the bench, as the board's worker does; it lies in the workshop."""
    from qc.jobs.bench import enter_card
    from qc.jobs.board import opened

    def enter(shop, typed, who):
        with opened(shop, None) as workshop:
            enter_card(workshop, json.loads((shop / typed).read_text("utf-8")), who=who)

    return _by_the_board(enter, words)


def _ask_board(words):
    """Ask the board what the bytes of a file say."""
    from fault_board import ask

    return _by_the_board(lambda shop, file: ask(shop, Path(file).read_bytes()), words)


def _by_the_board(do, words):
    """Do what no command does; the last of the words is the workshop, and it ends as a command would."""
    from qc.errors import QcError

    try:
        do(Path(words[-1]), *words[1:-2])
    except QcError as error:
        sys.stderr.write(f"{error}\n")
        return error.exit_code
    return 0


BY_THE_BOARD = {
    "the board saves a plan": _save_plan,
    "the bench enters a card": _enter_card,
    "the board is asked": _ask_board,
}
"""What is done by the board alone, by the first word of its plan."""


def _count_steps(kill_at):
    """Count what reaches the database, and die before the step named."""
    from sqlalchemy import Engine, event

    count = [0]

    def step(*_):
        count[0] += 1
        if kill_at is not None and count[0] >= kill_at:
            os.kill(os.getpid(), signal.SIGKILL)

    event.listen(Engine, "before_cursor_execute", step)
    event.listen(Engine, "commit", step)
    return count


def _be_impatient():
    """Wait a fifth of a second for a lock, not a minute."""
    from qc.store import database

    database.PATIENCE_S = 0.2


def _after_the_rows(happen):
    """Let something happen the moment the first writing of this run is on the disk; one may hold others."""
    from qc.store.database import Database

    writing, within = Database.writing, []

    @contextmanager
    def watched(self):
        within.append(self)
        try:
            with writing(self) as conn:
                yield conn
        finally:
            within.pop()
        if not within and not _HAPPENED:
            _HAPPENED.append(happen(self))

    Database.writing = watched


_HAPPENED = []  # keeps what happened, such as a lock, until the run ends


def _lock_after_the_rows():
    _be_impatient()
    _after_the_rows(lambda database: take_lock(database.url.database))


def _fill_disk_after_the_rows():
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    _after_the_rows(lambda _: resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0)))


def take_lock(file):
    """Take the one writer's lock of a store; it is held until the connection is closed."""
    other = sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    return other


HOOKS = {
    "hang": lambda: time.sleep(LONGEST_S * 10),
    "impatient": _be_impatient,
    "lock after the rows": _lock_after_the_rows,
    "disk full after the rows": _fill_disk_after_the_rows,
}


if __name__ == "__main__":
    serve()
