"""Fifty cards as benches write them, laid out by a stranger before the reader learned them."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from qc.ingest import Known, SheetError, check, read_sheet, unfold
from qc.plan import PLACE, load_plan

SHEETS = Path(__file__).parents[2] / "strangers" / "sheets"
PLAN = load_plan(SHEETS / "plan.yaml")
CASES = yaml.load((SHEETS / "layouts.yaml").read_text("utf-8"), Loader=yaml.CSafeLoader)


def key(serial, model, day, characteristic, places, value):
    """Return one reading in a form that can be compared."""
    return serial, model, str(day), characteristic, frozenset(places.split()), round(float(value), 6)


def read(name):
    """Return what is accepted of a card, what is held of it, and the sentence of a refusal."""
    try:
        parts = [unfold(grid, PLAN) for grid in read_sheet((SHEETS / "layouts" / name).read_bytes(), name)]
    except SheetError as error:
        return set(), [], str(error)
    accepted = set()
    # a column of figures that the plan does not ask for is kept beside, and what it is asked on the receipt
    held = [{"asked": label} for part in parts for read_as in part.read_as for label in read_as.numbers]
    for checked in check(parts, PLAN, Known(today=CASES["hand_in"])):
        held += checked.held.to_dicts()
        for row in checked.readings.to_dicts():
            places = " ".join(f"{place}={row[place]}" for place in PLACE if row[place] not in (None, ""))
            accepted.add(
                key(row["serial"], row["model"], row["day"], row["characteristic"], places, row["value"])
            )
    return accepted, held, ""


@pytest.mark.parametrize("layout", CASES["layouts"], ids=lambda layout: layout["file"])
def test_a_card_is_read_as_it_was_meant(layout):
    accepted, held, refused = read(layout["file"])
    expected = {key(*reading) for reading in layout["readings"]}
    allowed = expected | {key(*reading) for reading in layout.get("may_be_read", [])}
    assert accepted <= allowed, "a figure is read as another"
    if layout.get("asks"):
        for named in layout["asks"]:
            assert named in refused or any(named in str(row) for row in held)
        if refused:
            return
    assert refused == ""
    assert expected <= accepted, [row["message"] if "message" in row else row for row in held][:3]
    for asked in layout.get("held", []):
        optional = [r for r in layout.get("may_be_read", []) if r[0] == asked.get("serial")]
        assert optional or any(asked["typed"] in str(row) for row in held)
