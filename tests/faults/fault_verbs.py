"""Every verb that writes, as a person types it, with the state of the workshop it needs."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tarfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from fault_server import forget_taken, taking_rows
from fault_shop import FORCE, ODD, ROOT, content, different, lay_plan, news, odd_sheet, signal_of

OLD_STORE = ROOT / "tests" / "store" / "made_before_0003.tar.xz"
MONTH = "2026-02"
TYPED, CARD, INBOX = "typed", "card.json", "put here"
"""In the workshop: a plan as it was typed, a card as a tablet sends it, the folder for sheets."""

TIGHTER = [{"target": 0.95, "upper": 1.2}]


def _as_it_is(_: Path) -> None:
    """Change nothing by hand."""


def _tighter_plan(shop: Path) -> None:
    """Edit the plan as a lead would, in the file; the next command that opens the workshop records it."""
    lay_plan(shop, limits=TIGHTER)


def _typed_plan(shop: Path) -> None:
    """Lay a tighter plan beside the one in force, as it is typed in the board's field."""
    lay_plan(shop / TYPED, limits=TIGHTER)


def _plan_whole(shop: Path, *, done: bool) -> list[str]:
    """Say where the plan is neither the one of before nor the typed one, or not yet that."""
    text, typed = (shop / "plan.yaml").read_bytes(), (shop / TYPED / "plan.yaml").read_bytes()
    if text == typed:
        return []
    if done:
        return ["the plan is not the one that was typed"]
    lay_plan(shop / TYPED / "before")
    return [] if text == (shop / TYPED / "before" / "plan.yaml").read_bytes() else ["the plan is half"]


def _typed_card(shop: Path) -> None:
    """Lay down what a tablet sends: a slide's force, and a doubt answered beforehand."""
    boxes = {"Serial": "QH-1061", "Model": "tenor", "Date": "2026-03-09", "Person": "FN", "Gauge": "SB-1"}
    card = {"entry": "ab" * 16, "card": "force-card", "boxes": boxes, "figures": {"0": "1.17"}}
    (shop / CARD).write_text(json.dumps({**card, "left_out": [], "sure": []}), "utf-8")


def _lying_in_a_folder(shop: Path) -> None:
    """Lay sheets into the folder that benches put theirs into, an hour ago."""
    (shop / INBOX).mkdir()
    for part, card in enumerate(("loss", "force", "loss")):
        file = shop / INBOX / f"new-{part}.csv"
        file.write_bytes(news(card, part // 2, 3))
        os.utime(file, (file.stat().st_mtime - 3600,) * 2)


def _waiting_sheet(shop: Path) -> None:
    """Hand in a sheet that no reader reads; it waits for its layout."""
    from qc.jobs.upload import upload
    from qc.jobs.workshop import open_workshop

    (shop / ODD).write_bytes(odd_sheet())
    workshop = open_workshop(shop)
    kept = upload(workshop, [(ODD, (shop / ODD).read_bytes())], who="FN").waiting
    workshop.store.close()
    assert [one.file for one in kept] == [ODD]


def _layout_whole(shop: Path, *, done: bool) -> list[str]:
    """Say where the remembered layout is half, or missing once the sheet is read through it."""
    file = shop / "mappings.yaml"
    if not file.is_file():
        return ["the layout is missing"] if done else []
    return [] if "Schieberbuch" in file.read_text("utf-8") else ["the layout is half"]


def _each_sheet_once(shop: Path, *, done: bool) -> list[str]:
    """Say which sheet of the folder is lost, doubled or half, or still lies there once all were taken in."""
    wanted = sorted(news(card, part // 2, 3) for part, card in enumerate(("loss", "force", "loss")))
    left = sorted(file.read_bytes() for file in (shop / INBOX).glob("*.csv"))
    moved = sorted(file.read_bytes() for file in (shop / INBOX / "archive").rglob("*.csv"))
    wrong = [] if sorted([*left, *moved]) == wanted else ["a sheet of the folder is lost, doubled or half"]
    return wrong + (["sheets were left in the folder"] if done and left else [])


def _old_store(shop: Path, revision: str = "0002") -> None:
    """Put a store of an earlier program in the place of the workshop's own, without its made-up signals."""
    for file in shop.glob("qc.db*"):
        file.unlink()
    shutil.rmtree(shop / "sheets")
    with tarfile.open(OLD_STORE) as archive:
        archive.extractall(shop, filter="data")
    with sqlite3.connect(shop / "qc.db") as conn:
        conn.execute("DELETE FROM signal")
        if revision == "0001":  # all that came with the second migration is an index
            conn.execute("DROP INDEX origin_made")
            conn.execute("UPDATE alembic_version SET version_num = '0001'")
    conn.close()
    if revision == "0003":
        _migrated(shop / "qc.db", revision)


def _migrated(file: Path, revision: str) -> None:
    """Carry a store over as far as a migration, as the program of that time did."""
    from alembic import command
    from alembic.config import Config

    from qc.store.database import _MIGRATIONS, Database, sqlite_url

    config, database = Config(), Database(sqlite_url(file))
    config.set_main_option("script_location", str(_MIGRATIONS))
    with database.engine.connect().execution_options(qc_writes=True) as conn, conn.begin():
        config.attributes["connection"] = conn
        command.upgrade(config, revision)
    database.close()


def _any(_: Path, *, done: bool) -> list[str]:
    """Ask nothing of what lies outside the store."""
    return []


def _mappings_whole(shop: Path, *, done: bool, last: str = "Nummer: Serial") -> list[str]:
    """Say where the mappings beside the plan are half, or missing once the sheet is taken in."""
    file = shop / "mappings.yaml"
    if not file.is_file():
        return ["the mappings are missing"] if done else []
    return [] if last in file.read_text("utf-8") else ["the mappings are half"]


def _month_whole(shop: Path, *, done: bool) -> list[str]:
    """Say which file of a report is half, or missing once the report is made."""
    ends = {"pdf": b"%%EOF", "html": b"</html>", "xlsx": b"PK\x05\x06"}
    files = {kind: shop / "reports" / MONTH / f"month-{MONTH}.{kind}" for kind in ends}
    lost = [file.name for file in files.values() if done and not file.is_file()]
    half = [f.name for kind, f in files.items() if f.is_file() and ends[kind] not in f.read_bytes()[-1024:]]
    return [f"{name} is missing" for name in lost] + [f"{name} is half" for name in half]


def _back_whole(shop: Path, *, done: bool) -> list[str]:
    """Say where what was brought back differs from the workshop, once it stands in its place."""
    back = back_of(shop)
    if not back.exists():
        return ["nothing was brought back"] if done else []
    return [f"{name} was brought back otherwise" for name in different(content(shop), content(back))]


def _export_whole(shop: Path, *, done: bool) -> list[str]:
    """Say which table of an export is half, or missing once it is made; a csv ends with its last line."""
    folder = out_of(shop)
    there = {file.name: file.read_bytes() for file in folder.glob("*.csv")}
    lost = [name for name in EXPORTED if done and name not in there]
    half = [name for name, found in there.items() if not found.endswith(b"\n")]
    return [f"{name} is missing" for name in lost] + [f"{name} is half" for name in half]


EXPORTED = ("readings.csv", "pieces.csv", "signals.csv", "limits.csv")
"""Tables that every export has."""


@dataclass(frozen=True)
class Verb:
    """A command that writes.

    Attributes
    ----------
    name : str
        What the verb is called in a test's name.
    words : tuple of str
        What is typed; ``BENCH``, ``BACKUPS``, ``SHOP``, ``BACK``, ``OUT``, ``INBOX`` and ``SIGNAL`` stand for
        folders and the open signal. What the board does by no command is one of ``BY_THE_BOARD``.
    first : tuple of tuple of str
        Commands that bring the workshop into the state the verb needs.
    by_hand : callable
        What is changed in the folder before the verb, such as the plan.
    keeps : bool
        False for one that leaves the workshop as it was.
    whole : callable
        Given the workshop and whether the verb was done, says what is half or missing outside the store.
    elsewhere : bool
        It writes beside the workshop and takes no ``--workshop``.
    code : int
        How it ends when nothing goes wrong: 1 where a sheet of several is refused, and kept.
    opens : bool
        Merely opening the workshop writes: there is no status of before to compare with.
    """

    name: str
    words: tuple[str, ...]
    first: tuple[tuple[str, ...], ...] = ()
    by_hand: Callable[[Path], None] = _as_it_is
    keeps: bool = True
    opens: bool = False
    whole: Callable[..., list[str]] = _any
    elsewhere: bool = False
    code: int = 0

    def __str__(self):
        return self.name

    def typed(self, shop, bench, words=None):
        """Return the words with the names filled in."""
        found = signal_of(shop, FORCE) if "SIGNAL" in (words or self.words) else ""
        names = {"SIGNAL": found, "BACKUPS": str(backups_of(shop))}
        names |= {
            "SHOP": str(shop),
            "BACK": str(back_of(shop)),
            "OUT": str(out_of(shop)),
            "INBOX": str(shop / INBOX),
        }
        if "URL" in (words or self.words):
            names["URL"] = taking_rows(shop)
        filled = [names.get(w, w.replace("BENCH", str(bench))) for w in (words or self.words)]
        return filled if self.elsewhere else [*filled, "--workshop", str(shop)]


def backups_of(shop):
    """Return the folder beside a workshop in which its backups lie."""
    return shop.parent / f"{shop.name} backups"


def back_of(shop):
    """Return the folder beside a workshop into which it is brought back."""
    return shop.parent / f"{shop.name} restored"


def out_of(shop):
    """Return the folder beside a workshop into which it is exported."""
    return shop.parent / f"{shop.name} exported"


def clear_beside(shop):
    """Remove what verbs wrote beside a workshop, halves too."""
    forget_taken(shop)
    for folder in (
        backups_of(shop),
        back_of(shop),
        out_of(shop),
        *shop.parent.glob(f".{back_of(shop).name}-*"),
    ):
        shutil.rmtree(folder, ignore_errors=True)


_CAUSE = ("signals", "close", "SIGNAL", "--cause", "tight-slide", "--action", "lapped", "--who", "IS")
_CLOSE = (*_CAUSE, "--outcome", "stays")
_MENDED = (*_CAUSE, "--outcome", "mended")
_TICK = ("signals", "tick", "SIGNAL", "--step", "1", "--who", "FN")
_TICK_PIECE = ("signals", "tick", "SIGNAL", "--piece", "QH-1043", "--who", "FN")
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

_MEND = ("held", "mend", "1", "--accept", "--who", "IS")
_CORRECT = ("correct", "QH-1044/force", "--set", "value=1.11", "--who", "IS", "--why", "misread")

_ADD = ("people", "add", "ZZ", "--role", "technician", "--name", "Z. Probe")
_KEEP = ("hold", "keep", "QH-1044", "--who", "IS", "--why", "dent")

VERBS = (
    Verb("upload one", ("upload", "BENCH/new-0.csv", "--who", "IS")),
    Verb("upload many", ("upload", *(f"BENCH/new-{n}.csv" for n in range(5)), "--who", "IS")),
    Verb(
        "upload one that nobody can read with one that is read",
        ("upload", f"BENCH/{ODD}", "BENCH/new-0.csv", "--who", "IS"),
        code=1,
    ),
    Verb("upload one that nobody can read", ("upload", f"BENCH/{ODD}", "--who", "IS"), code=1),
    Verb(
        "upload with a mapping",
        ("upload", "BENCH/own-words.csv", "--mapping", "BENCH/mapping.yaml", "--who", "IS"),
        whole=_mappings_whole,
    ),
    Verb(
        "upload with a layout that was shown",
        ("upload", "BENCH/shown.csv", "--mapping", "BENCH/layouts.yaml", "--who", "IS"),
        whole=partial(_mappings_whole, last="Slide force"),
    ),
    Verb(
        "upload a folder and archive it",
        ("upload", "--folder", "INBOX", "--then-archive", "--who", "IS"),
        by_hand=_lying_in_a_folder,
        whole=_each_sheet_once,
    ),
    Verb("a card of the bench", ("the bench enters a card", CARD, "FN"), by_hand=_typed_card),
    Verb("import", ("import", "BENCH/years.csv", "--who", "IS")),
    Verb(
        "read a sheet that waits",
        ("held", "read", ODD, "--mapping", "BENCH/layout.yaml", "--who", "FN"),
        by_hand=_waiting_sheet,
        whole=_layout_whole,
    ),
    Verb(
        "put a sheet away",
        ("held", "put-away", ODD, "--who", "IS", "--why", "typed anew"),
        by_hand=_waiting_sheet,
    ),
    Verb("mend one", ("held", "mend", "1", "--accept", "--who", "IS")),
    Verb("mend a range", ("held", "mend", "2-5", "--accept", "--who", "IS")),
    Verb("set a range aside", ("held", "mend", "6-8", "--drop", "--who", "IS")),
    Verb("undo a mend", ("held", "undo", "1", "--who", "IS", "--why", "another tube"), (_MEND,)),
    Verb("correct", _CORRECT),
    Verb("correct several", ("correct", "QH-1044/force", "QH-1043/force", *_CORRECT[2:])),
    Verb("take back", ("correct", "QH-1044/force", "--withdraw", "--who", "IS", "--why", "dry slide")),
    Verb("take", ("signals", "take", "SIGNAL", "--who", "FN")),
    Verb("close", _CLOSE),
    Verb("close as mended", _MENDED),
    Verb("tick", _TICK),
    Verb("untick", ("signals", "untick", "SIGNAL", "--step", "1", "--who", "FN"), (_TICK,)),
    Verb("close as false", ("signals", "close", "SIGNAL", "--false", "--who", "IS")),
    Verb("reopen", ("signals", "reopen", "SIGNAL", "--who", "IS"), (_CLOSE,)),
    Verb("reopen what was mended", ("signals", "reopen", "SIGNAL", "--who", "IS"), (_MENDED,)),
    Verb("tick a piece", _TICK_PIECE),
    Verb("tick every piece", ("signals", "tick", "SIGNAL", "--every-piece", "--who", "FN")),
    Verb("untick a piece", ("signals", "untick", *_TICK_PIECE[2:]), (_TICK_PIECE,)),
    Verb("comment", ("signals", "comment", "SIGNAL", "looked at it", "--who", "FN")),
    Verb("freeze", _FREEZE),
    Verb("leave out", _OUT),
    Verb("undo freeze", ("baseline", "undo", FORCE, "--who", "IS", "--why", "outdated"), (_FREEZE,)),
    Verb("keep back", _KEEP),
    Verb("release", ("hold", "release", "QH-1044", "--who", "IS", "--why", "smoothed"), (_KEEP,)),
    Verb("rejudge", ("rejudge",)),
    Verb("backup", ("backup", "BACKUPS"), keeps=False),
    Verb("restore", ("restore", "SHOP", "BACK"), keeps=False, whole=_back_whole, elsewhere=True),
    Verb("month", ("month", MONTH), keeps=False, whole=_month_whole),
    Verb("close a month", ("month", MONTH, "--close", "--who", "IS"), whole=_month_whole),
    Verb("export", ("export", "--format", "csv", "--out", "OUT"), keeps=False, whole=_export_whole),
    Verb("add a person", _ADD),
    Verb("new code for a person", ("people", "reset", "ZZ"), (_ADD,)),
    Verb("a person leaves", ("people", "leave", "ZZ"), (_ADD,)),
    Verb("change the plan", ("status",), by_hand=_tighter_plan, opens=True),
    Verb(
        "save a plan on the board",
        ("the board saves a plan", f"{TYPED}/plan.yaml", "IS", "the new jig holds more"),
        by_hand=_typed_plan,
        whole=_plan_whole,
    ),
    Verb("open an old store", ("status",), by_hand=_old_store, opens=True),
    Verb("open a store of 0001", ("status",), by_hand=partial(_old_store, revision="0001"), opens=True),
    Verb("open a store of 0003", ("status",), by_hand=partial(_old_store, revision="0003"), opens=True),
)
TO_A_SERVER = Verb(
    "restore into a server",
    ("restore", "SHOP", "BACK", "--into", "URL"),
    keeps=False,
    whole=_back_whole,
    elsewhere=True,
)
"""Tried only where there is a server."""

OF_FILES = {"restore", "open an old store", "open a store of 0001", "open a store of 0003"}
"""What is about the file with the rows, and has no meaning on a server."""

ON_A_SERVER = tuple(verb for verb in VERBS if verb.name not in OF_FILES)
BY_NAME = {verb.name: verb for verb in VERBS}
