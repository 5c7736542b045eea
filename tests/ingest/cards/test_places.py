"""Places are the plan's words: whatever the case of a typed one, the plan's spelling is what is kept."""

from __future__ import annotations

import pytest

from qc.ingest import Known, check, read_sheet, unfold
from qc.plan import Plan

CARD = (
    "Card,Bell wall map\nSerial,TH-1001\nModel,tenor\nDate,2026-05-12\nPerson,AB\n\n"
    "Station,Direction,Wall [mm]\n"
)


@pytest.fixture
def capital(plan: Plan) -> Plan:
    """The test's plan with the stations of the bell named in capitals."""
    stages = []
    for stage in plan.stages:
        if stage.id == "bell":
            own = stage.characteristics[0]
            own = own.model_copy(update={"places": {"station": ("Mund", "Bogen"), "direction": ("0", "90")}})
            stage = stage.model_copy(update={"characteristics": (own,)})
        stages.append(stage)
    return plan.model_copy(update={"stages": tuple(stages)})


@pytest.mark.parametrize("typed", ["Mund", "mund", "MUND"])
def test_a_place_with_a_capital_in_the_plan_is_read_in_any_case(
    capital: Plan, known: Known, typed: str
) -> None:
    text = CARD + f"{typed},0,0.51\nbogen,90,0.50\n"
    found = check([unfold(read_sheet(text.encode(), "card.csv")[0], capital)], capital, known)[0]
    assert found.held.height == 0, found.held["reasons"].to_list()
    assert found.readings["station"].to_list() == ["Mund", "Bogen"]


def test_a_column_of_places_left_empty_to_the_end_is_no_fault():
    """Its cells may reach further than any row, once trailing empty ones are left out."""
    from qc.ingest.shapes import fill_rows

    filled, dropped = fill_rows(
        {"serial": 0, "leg": 1, "station": 3}, [["A", "left", "14.05"], ["A", "right", "14.06"]], {2}, set()
    )
    assert filled == [["A", "left", "14.05", ""], ["A", "right", "14.06", ""]] and dropped == {}
