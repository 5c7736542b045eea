"""Each kind of layout in many hands: other words, separators, orders and units give the same readings."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
import yaml

from qc.ingest import Known, SheetError, check, read_sheet, unfold
from qc.plan import PLACE, load_plan

HERE = Path(__file__).parent
KINDS = yaml.safe_load((HERE / "kinds.yaml").read_text("utf-8"))
PLANS = {
    name: load_plan((HERE.parents[1] / "strangers" / name / "plan.yaml").read_text("utf-8"))
    for name in {kind["plan"] for kind in KINDS.values()}
}
TODAY = date(2026, 10, 22)
Read = tuple[str, ...]


def judge(text: str, plan_name: str):
    """Hand a sheet in to a workshop of the plan, which has nothing else."""
    plan = PLANS[plan_name]
    parts = [unfold(grid, plan) for grid in read_sheet(text.encode("utf-8"), "own.csv")]
    rows = sum(part.rows for part in parts)
    checked = check(parts, plan, Known(today=TODAY))
    assert rows == sum(one.readings.height + one.events.height + one.held.height for one in checked)
    return checked


def accepted(text: str, plan_name: str) -> set[Read]:
    """Return what goes in at once: serial, model, figure, places in any order, value."""
    found = set()
    for one in judge(text, plan_name):
        for row in one.readings.to_dicts():
            places = sorted(str(row[p]) for p in PLACE if row[p] not in (None, ""))
            found.add((row["serial"], row["model"], row["characteristic"], *places, f"{row['value']:g}"))
    return found


def meant(kind: dict) -> set[Read]:
    """Return the readings that a kind names; without a serial it is that of the head."""
    found = set()
    for line in kind["readings"].splitlines():
        words = line.split()
        model = words.pop() if words[-1] in {"bramble", "tavin"} else "tavin"
        serial = words.pop(0) if words[0][:3].isdigit() else ""
        name, *places, value = words
        found.add((serial, model, name, *sorted(places), f"{float(value):g}"))
    return found


def cases(key: str) -> Iterator[object]:
    """Give every sheet of every kind, numbered."""
    for name, kind in KINDS.items():
        listed = kind.get(key, [])
        named = listed.items() if isinstance(listed, dict) else [("", listed)]
        for word, sheets in named:
            for number, sheet in enumerate(sheets):
                text = kind["head"].rstrip("\n") + "\n" * kind["head"].endswith("\n\n") + "\n" + sheet
                yield pytest.param(kind, text, word, id=f"{name} {word} {number}")


@pytest.mark.parametrize(("kind", "text", "_"), list(cases("sheets")))
def test_a_kind_is_read_in_every_hand(kind: dict, text: str, _: str) -> None:
    read = accepted(text, kind["plan"])
    wanted = meant(kind)
    if not all(one[0] for one in wanted):
        read = {("", *one[1:]) for one in read}
    if not any(one[1] == "bramble" for one in wanted):
        read = {(one[0], "tavin", *one[2:]) for one in read}
    assert read == wanted


@pytest.mark.parametrize(("kind", "text", "word"), list(cases("held")))
def test_what_leaves_two_readings_open_is_asked(kind: dict, text: str, word: str) -> None:
    try:
        said = str([one.held.to_dicts() for one in judge(text, kind["plan"])])
        assert accepted(text, kind["plan"]) == set()
    except SheetError as error:
        said = str(error)
    assert word in said
