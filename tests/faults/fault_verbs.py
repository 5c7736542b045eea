"""Every verb that writes, as a person types it, with the state of the workshop it needs."""

from __future__ import annotations

import shutil
import sqlite3
import tarfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from fault_shop import FORCE, ROOT, lay_plan, signal_of

OLD_STORE = ROOT / "tests" / "store" / "made_before_0003.tar.xz"
TIGHTER = [{"target": 0.95, "upper": 1.2}]


def _as_it_is(_: Path) -> None:
    """Change nothing by hand."""


def _tighter_plan(shop: Path) -> None:
    """Edit the plan as a lead would, in the file; the next command that opens the workshop records it."""
    lay_plan(shop, limits=TIGHTER)


def _old_store(shop: Path) -> None:
    """Put a store of an earlier program in the place of the workshop's own, without its made-up signals."""
    for file in shop.glob("qc.db*"):
        file.unlink()
    shutil.rmtree(shop / "sheets")
    with tarfile.open(OLD_STORE) as archive:
        archive.extractall(shop, filter="data")
    with sqlite3.connect(shop / "qc.db") as conn:
        conn.execute("DELETE FROM signal")
    conn.close()


@dataclass(frozen=True)
class Verb:
    """A command that writes.

    Attributes
    ----------
    name : str
        What the verb is called in a test's name.
    words : tuple of str
        What is typed; ``BENCH``, ``BACKUPS`` and ``SIGNAL`` stand for folders and the open signal.
    first : tuple of tuple of str
        Commands that bring the workshop into the state the verb needs.
    by_hand : callable
        What is changed in the folder before the verb, such as the plan.
    keeps : bool
        False for one that leaves the workshop as it was.
    opens : bool
        Merely opening the workshop writes: there is no status of before to compare with.
    """

    name: str
    words: tuple[str, ...]
    first: tuple[tuple[str, ...], ...] = ()
    by_hand: Callable[[Path], None] = _as_it_is
    keeps: bool = True
    opens: bool = False

    def __str__(self):
        return self.name

    def typed(self, shop, bench, words=None):
        """Return the words with the names filled in."""
        found = signal_of(shop, FORCE) if "SIGNAL" in (words or self.words) else ""
        names = {"SIGNAL": found, "BACKUPS": str(backups_of(shop))}
        filled = [names.get(w, w.replace("BENCH", str(bench))) for w in (words or self.words)]
        return [*filled, "--workshop", str(shop)]


def backups_of(shop):
    """Return the folder beside a workshop in which its backups lie."""
    return shop.parent / f"{shop.name} backups"


_CLOSE = ("signals", "close", "SIGNAL", "--cause", "tight-slide", "--action", "lapped", "--who", "IS")
_FREEZE = (
    "baseline",
    "freeze",
    FORCE,
    "--from",
    "QH-1001",
    "--to",
    "QH-1030",
    "--who",
    "IS",
    "--why",
    "new jig",
)
_OUT = (
    "baseline",
    "leave-out",
    FORCE,
    "--from",
    "QH-1041",
    "--to",
    "QH-1043",
    "--who",
    "IS",
    "--why",
    "dropped",
)

VERBS = (
    Verb("upload one", ("upload", "BENCH/new-0.csv", "--who", "IS")),
    Verb("upload many", ("upload", *(f"BENCH/new-{n}.csv" for n in range(5)), "--who", "IS")),
    Verb("mend one", ("held", "mend", "1", "--accept", "--who", "IS")),
    Verb("mend a range", ("held", "mend", "2-5", "--accept", "--who", "IS")),
    Verb("set a range aside", ("held", "mend", "6-8", "--drop", "--who", "IS")),
    Verb("take", ("signals", "take", "SIGNAL", "--who", "FN")),
    Verb("close", _CLOSE),
    Verb("close as false", ("signals", "close", "SIGNAL", "--false", "--who", "IS")),
    Verb("reopen", ("signals", "reopen", "SIGNAL", "--who", "IS"), (_CLOSE,)),
    Verb("comment", ("signals", "comment", "SIGNAL", "looked at it", "--who", "FN")),
    Verb("freeze", _FREEZE),
    Verb("leave out", _OUT),
    Verb("undo freeze", ("baseline", "undo", FORCE, "--who", "IS", "--why", "outdated"), (_FREEZE,)),
    Verb("rejudge", ("rejudge",)),
    Verb("backup", ("backup", "BACKUPS"), keeps=False),
    Verb("change the plan", ("status",), by_hand=_tighter_plan, opens=True),
    Verb("open an old store", ("status",), by_hand=_old_store, opens=True),
)
BY_NAME = {verb.name: verb for verb in VERBS}
