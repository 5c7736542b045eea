"""What is fuzzed: the readers, each through the command that a person would type, to its answer or store."""

from __future__ import annotations

import contextlib
import io
import re
import shutil
import sqlite3
import zipfile
from functools import partial

from fault_asked import ASKED
from fault_desk import Target, in_a_file
from fault_shop import MEANT, ROOT, SHOWN, own_words, shown_sheet

SAMPLE = ROOT / "sample_measurements"
COLUMNS = (
    "value",
    "serial",
    "person",
    "gauge",
    "day",
    "model",
    "unit",
    "characteristic",
    "stage",
    "repeat",
    "x",
)


def _workbook(folder, shop, data):
    """Put the bytes into a part of a good workbook: the first byte says which."""
    parts = _good_parts()
    names = sorted(parts)
    own = names[data[0] % len(names)] if data else names[0]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in names:
            archive.writestr(name, data[1:] if name == own else parts[name])
    return in_a_file(".xlsx", UPLOAD, folder, shop, out.getvalue())


def _good_parts():
    file = min(SAMPLE.rglob("*.xlsx"), key=lambda path: path.stat().st_size)
    with zipfile.ZipFile(file) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _mend(_, shop, data):
    """Mend a held row by hand: the first byte names it, the rest are columns and what is typed in them."""
    row = str(1 + (data[0] if data else 0) % 8)
    words = ["held", "mend", row, "--who", "IS", "--workshop", str(shop)]
    for piece in data[1:].split(b"\n")[:4]:
        column = COLUMNS[piece[0] % len(COLUMNS)] if piece else "value"
        words += ["--set", f"{column}={piece[1:].decode('utf-8', 'surrogateescape')}"]
    return words


def _shown(folder, shop, data, *, sheet=None, layouts=None):
    """Hand in a sheet by a layout that was shown; the bytes are whichever of the two is not given."""
    (folder / "layouts.yaml").write_bytes(data if layouts is None else layouts)
    words = ("upload", "FILE", "--mapping", str(folder / "layouts.yaml"), "--who", "IS", "--workshop", "SHOP")
    # what was remembered of a run before would answer for this one
    (shop / "mappings.yaml").unlink(missing_ok=True)
    return in_a_file(".csv", words, folder, shop, data if sheet is None else sheet)


def _damaged_store(folder, shop, data):
    """Verify a copy of the store with some of its bytes changed: each four say where and what."""
    copy = folder / "damaged"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(shop, copy)
    with contextlib.closing(sqlite3.connect(copy / "qc.db")) as conn:
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    whole = bytearray((copy / "qc.db").read_bytes())
    for at in range(0, min(len(data) - 3, 64), 4):
        whole[int.from_bytes(data[at : at + 3], "big") % len(whole)] = data[at + 3]
    (copy / "qc.db").write_bytes(whole)
    return ["verify", "--workshop", str(copy)]


def _sample(pattern, most=6):
    return [path.read_bytes() for path in sorted(SAMPLE.rglob(pattern))[:: max(1, 40 // most)][:most]]


def _table(kind):
    import polars as pl

    frame = pl.DataFrame({"mm": [10.0, 10.1, 9.9, 10.2] * 8, "lot": ["a", "b"] * 16, "n": list(range(32))})
    out = io.BytesIO()
    frame.write_csv(out) if kind == "csv" else frame.write_parquet(out)
    return [out.getvalue()]


def _notes():
    return [
        b"note,position,cents\nBb2,1,-3\nF3,1,4.5\nBb3,1,-1\nD4,1,-12\nF4,1,2\nC3,6,3\n",
        *_sample("tuning*.csv", 2),
    ]


def _layouts():
    """Return layouts that say what the small one does not: pieces in rows, places, several tables."""
    page = (ROOT / "docs" / "reference" / "layouts.md").read_text("utf-8")
    return re.findall(r"```yaml\n(layouts:.*?)```", page, re.DOTALL)


def _sound():
    import wave

    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1), file.setsampwidth(2), file.setframerate(8000)
        file.writeframes(bytes(range(256)) * 40)
    return [out.getvalue()]


UPLOAD = ("upload", "FILE", "--who", "IS", "--workshop", "SHOP")
STUDY = ("study", "FILE", "--value", "mm")
TUNE = ("tune", "FILE", "--length-mm", "2944.9", "--valve", "F=986.1")
HEAR = ("tune", "--wav", "FILE", "--length-mm", "2944.9", "--valve", "F=986.1")


def _own_seeds():
    from fault_shop import history

    return [*history().values(), *_sample("*.csv")]


TARGETS = {
    "csv card": Target(partial(in_a_file, ".csv", UPLOAD), _own_seeds, stores=True),
    "workbook": Target(
        _workbook,
        lambda: [bytes([i]) + part for i, (_, part) in enumerate(sorted(_good_parts().items()))],
        True,
    ),
    "held row": Target(
        _mend, lambda: [b"\x00\x020.95\n\x02FN", b"\x01\x032026-01-05\n\x00\xc2\xb2", b"\x02\x001e308"], True
    ),
    "plan": Target(
        partial(in_a_file, ".yaml", ("plan", "check", "FILE")),
        lambda: [(SAMPLE / "plan.yaml").read_bytes()[:6000]],
    ),
    "study csv": Target(partial(in_a_file, ".csv", STUDY), lambda: _table("csv")),
    "study parquet": Target(partial(in_a_file, ".parquet", STUDY), lambda: _table("parquet")),
    "tuning sheet": Target(partial(in_a_file, ".csv", TUNE), _notes),
    "recording": Target(partial(in_a_file, ".wav", HEAR), _sound),
    "layout file": Target(
        lambda folder, shop, data: _shown(folder, shop, data, sheet=shown_sheet()),
        lambda: [SHOWN.encode(), *(text.encode() for text in _layouts())],
        True,
    ),
    "shown sheet": Target(
        lambda folder, shop, data: _shown(folder, shop, data, layouts=SHOWN.encode()),
        lambda: [shown_sheet(), shown_sheet().replace(b";", b",").replace(b"1,", b"1.")],
        True,
    ),
    "mapping file": Target(
        lambda folder, shop, data: _shown(folder, shop, data, sheet=own_words()),
        lambda: [MEANT.encode(), b"card: force-card\ncolumns: {Nummer: Serial}\ndates: day-first\n"],
        True,
    ),
    "verify": Target(_damaged_store, lambda: [b"", bytes(range(64)), b"\x00\x10\x00\xff" * 4]),
    **ASKED,
}
