"""What is fuzzed of the tools and of the ways in besides cards: histories, studies, remedies, the board."""

from __future__ import annotations

import io
import re
import shutil
import zipfile
from functools import partial

from fault_desk import Target, in_a_file
from fault_shop import history, years

BETWEEN = b"\n--\n"
"""Divides the two files of a command that takes two."""

GAUGE = (
    (
        "gauge",
        "FILE",
        "--value",
        "mm",
        "--part",
        "part",
        "--person",
        "who",
        "--lower",
        "9.5",
        "--upper",
        "10.5",
    ),
    ("gauge", "FILE", "--value", "mm", "--part", "part", "--person", "who", "--by-hand"),
    ("gauge", "FILE", "--value", "mm", "--part", "part", "--person", "who", "--nested"),
    ("gauge", "FILE", "--value", "mm", "--reference", "ring"),
    ("gauge", "FILE", "--value", "mm", "--day", "day", "--check-standard"),
    ("gauge", "FILE", "--value", "ring", "--part", "part", "--person", "who", "--agreement"),
)
STUDY = (
    ("study", "FILE", "--value", "mm"),
    (
        "study",
        "FILE",
        "--value",
        "mm",
        "--subgroup",
        "part",
        "--lower",
        "9",
        "--upper",
        "11",
        "--shape",
        "positive",
    ),
    ("study", "FILE", "--value", "mm", "--chart", "changepoint", "--against", "draws", "--tool", "tool"),
    ("study", "FILE", "--value", "draws", "--chart", "defects"),
    ("study", "FILE", "--value", "mm", "--model", "part", "--nominal", "ring", "--rules", "all"),
)
WEAR = (
    ("wear", "FILE", "--value", "mm", "--against", "draws", "--upper", "10.5"),
    (
        "wear",
        "FILE",
        "--value",
        "mm",
        "--against",
        "draws",
        "--tool",
        "tool",
        "--lower",
        "9",
        "--per-week",
        "4",
    ),
)


def _chosen(ending, ways, folder, shop, data):
    """Ask in one of several ways: the first byte says which."""
    return in_a_file(ending, ways[(data[0] if data else 0) % len(ways)], folder, shop, data[1:])


def _table(most=24):
    import polars as pl

    return pl.DataFrame(
        {
            "mm": [10 + n % 7 / 100 for n in range(most)],
            "part": [f"p{n // 6}" for n in range(most)],
            "who": ["AB", "CD"] * (most // 2),
            "ring": [10.0, 10.02] * (most // 2),
            "day": [f"2026-03-{1 + n // 3:02d}" for n in range(most)],
            "draws": [10 * n for n in range(most)],
            "tool": [f"die {n // 12}" for n in range(most)],
        }
    )


def _tables(ways):
    csv = _table().write_csv().encode()
    coarse = csv.replace(b",", b";").replace(b".", b",").replace(b"\n", b"\r\n")
    return [bytes([way]) + text for way in range(len(ways)) for text in (csv, coarse)]


def _pair(folder, shop, data):
    """Propose what of a rack goes together; the bytes are both files, divided by a line of two dashes."""
    inner, _, outer = data.partition(BETWEEN)
    (folder / "inner.csv").write_bytes(inner)
    (folder / "outer.csv").write_bytes(outer)
    limits = ("--target-um", "150", "--lower-um", "100", "--upper-um", "200")
    return ["pair", "--inner", str(folder / "inner.csv"), "--outer", str(folder / "outer.csv"), *limits]


def _rack():
    def tubes(kind, figure, mm):
        rows = [
            f"{kind}-{n},{at},{way},{mm + n / 100:.3f}" for n in range(3) for at in ("1", "2") for way in "xy"
        ]
        return "\n".join([f"tube,station,direction,{figure}", *rows])

    both = (tubes("IN", "od_mm", 13.8), tubes("OU", "id_mm", 13.95))
    return [BETWEEN.join(text.encode() for text in both), "\n--\n".join(both).replace(",", ";").encode()]


def _coat():
    rows = [f"{area},{n},{15 + n / 10}" for area in ("bell", "stem", "slide bow") for n in range(1, 6)]
    return [
        "\n".join(["area,spot,um", *rows]).encode(),
        b"Stelle;Punkt;\xc2\xb5m\nbell;1;15,2\nbell;2;16,1\n",
    ]


def _new(folder, shop, data):
    """Propose a plan from a sheet for a workshop to be founded."""
    shutil.rmtree(folder / "founded", ignore_errors=True)
    return in_a_file(".csv", ("new", str(folder / "founded"), "--from", "FILE"), folder, shop, data)


def _book():
    """Return the parts of a workbook with readings."""
    out = io.BytesIO()
    _table(12).write_excel(out)
    with zipfile.ZipFile(out) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _study_workbook(folder, shop, data):
    """Put the bytes into a part of a good workbook: the first byte says which."""
    parts = _book()
    names = sorted(parts)
    own = names[(data[0] if data else 0) % len(names)]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in names:
            archive.writestr(name, data[1:] if name == own else parts[name])
    return in_a_file(".xlsx", STUDY[0], folder, shop, out.getvalue())


def _parquet():
    import polars as pl

    found = []
    for frame in (pl.read_csv(years()), pl.read_csv(years(), infer_schema=False)):
        out = io.BytesIO()
        frame.write_parquet(out)
        found.append(out.getvalue())
    return found


def _board_seeds():
    from fault_board import seeds

    return seeds()


IMPORT = ("import", "FILE", "--who", "IS", "--workshop", "SHOP")
ASKED = {
    "history csv": Target(
        partial(in_a_file, ".csv", IMPORT),
        lambda: [years(), re.sub(rb"(\d{4})-(\d\d)-(\d\d)", rb"\3.\2.\1", years()).replace(b",", b";")],
        stores=True,
    ),
    "history parquet": Target(partial(in_a_file, ".parquet", IMPORT), _parquet, stores=True),
    "gauge study": Target(partial(_chosen, ".csv", GAUGE), lambda: _tables(GAUGE)),
    "study ways": Target(partial(_chosen, ".csv", STUDY), lambda: _tables(STUDY)),
    "study workbook": Target(
        _study_workbook,
        lambda: [bytes([number]) + part for number, (_, part) in enumerate(sorted(_book().items()))],
    ),
    "wear log": Target(partial(_chosen, ".csv", WEAR), lambda: _tables(WEAR)),
    "rack": Target(_pair, _rack),
    "lacquer spots": Target(
        partial(in_a_file, ".csv", ("coat", "FILE", "--nominal", "15", "--lower", "10", "--upper", "25")),
        _coat,
    ),
    "plan from sheets": Target(_new, lambda: list(history().values())),
    "board": Target(
        partial(in_a_file, ".bytes", ("the board is asked", "FILE", "--workshop", "SHOP")),
        _board_seeds,
        stores=True,
    ),
}
