"""The cases of the second judging hang together: files, expectations and plan speak of the same things."""

from __future__ import annotations

import csv
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

HERE = Path(__file__).parent
FREE_PLACES = {"partial", "position"}  # of a tuning card: the models of the plan name them, not the figure
COLUMNS = {"value", "day", "serial", "model", "person", "gauge"}
KINDS = {
    "after-shipping",
    "before-earlier-stage",
    "copied-run",
    "count-x10",
    "date-as-number",
    "decimal-slip",
    "digits-swapped",
    "doubled-serial",
    "far-from-neighbours",
    "figure-of-another-stage",
    "inch",
    "last-years-series",
    "letter-o",
    "micrometres",
    "neighbouring-column",
    "next-years-series",
    "other-gauge",
    "other-models-figures",
    "place-twice",
    "prefix",
    "radius",
    "same-card-twice",
    "serial-digits-swapped",
    "serial-is-a-date",
    "serial-is-a-range",
    "sign-lost",
    "swapped-day-month",
    "unknown-person",
    "wrong-day",
    "wrong-digit",
    "wrong-model",
    "wrong-unit",
    "wrong-year",
    "x10",
}


@cache
def read(name: str) -> dict[str, Any]:
    """One of the yaml files here."""
    loaded: dict[str, Any] = yaml.load((HERE / name).read_text("utf-8"), Loader=yaml.CSafeLoader)
    return loaded


@cache
def figures() -> dict[str, dict[str, Any]]:
    """The characteristics of the plan by id."""
    return {
        figure["id"]: figure for stage in read("plan.yaml")["stages"] for figure in stage["characteristics"]
    }


def rows(file: str) -> list[list[str]]:
    """The lines of a csv sheet."""
    return list(csv.reader((HERE / "mishaps" / file).read_text(encoding="utf-8").splitlines(), delimiter=";"))


def assert_mend_is_meant(planted: dict[str, Any]) -> None:
    """The right mend is what was meant, a converted figure within its rounding."""
    ((column, mend),) = planted["mend"].items()
    meant = planted["meant"]
    if column == "value":
        assert mend == pytest.approx(float(meant), rel=2e-4)
    elif column == "day":
        assert mend == "-".join(reversed(meant.split(".")))
    else:
        assert mend == meant


def test_every_layout_is_there_and_has_its_expectation() -> None:
    files = sorted(path.name for path in (HERE / "layouts").iterdir())
    assert files == [layout["file"] for layout in read("layouts.yaml")["layouts"]]
    assert len(files) == 50


@pytest.mark.parametrize("layout", read("layouts.yaml")["layouts"], ids=lambda layout: str(layout["file"]))
def test_readings_of_a_layout_are_of_the_plan(layout: dict[str, Any]) -> None:
    questions = [*layout.get("asked", []), *layout.get("either", [])]
    assert all(question["about"] and question["names"] for question in questions)
    assert questions or not layout.get("whole")
    expected = [*layout.get("readings", []), *(r for q in questions for r in q.get("readings", []))]
    assert expected
    assert len(set(expected)) == len(expected)
    models = {model["id"]: model for model in read("plan.yaml")["models"]}
    for line in expected:
        serial, model, day, name, places, value = (part.strip() for part in line.split("|"))
        figure = figures()[name]
        assert serial[0] == model[0].upper() and model in figure.get("models", models)
        assert date(2026, 2, 1) <= date.fromisoformat(day) <= read("layouts.yaml")["as_of"]
        assert figure["sensible"][0] <= float(value) <= figure["sensible"][1]
        given = dict(place.split("=") for place in places.split())
        allowed = figure.get("places", {})
        assert set(given) - FREE_PLACES == set(allowed)
        assert all(value in map(str, allowed[place]) for place, value in given.items() if place in allowed)


def test_every_mishap_is_there_and_its_kind_is_known() -> None:
    cases = read("mishaps.yaml")
    for part, number in (("slips", 100), ("odd", 60)):
        listed = [case["file"] for case in cases[part]]
        assert listed == sorted(f"{part}/{path.name}" for path in (HERE / "mishaps" / part).iterdir())
        assert len(listed) == number
    assert {slip["kind"] for slip in cases["slips"]} == KINDS


@pytest.mark.parametrize("slip", read("mishaps.yaml")["slips"], ids=lambda slip: str(slip["file"]))
def test_a_slip_stands_where_it_is_said_to_stand(slip: dict[str, Any]) -> None:
    sheet = rows(slip["file"])
    top = sheet.index([]) + 1
    assert slip["planted"] and slip["why"]
    for planted in slip["planted"]:
        assert planted["typed"] != planted["meant"]
        for line in planted["lines"]:
            row = sheet[line - 1]
            cell = row[sheet[top].index(planted["column"])] if line - 1 > top else row[1]
            assert cell == planted["typed"]
        assert planted["mend"] == "ask" or set(planted["mend"]) <= COLUMNS
        if planted["mend"] != "ask":
            assert_mend_is_meant(planted)


def test_odd_cards_have_the_rows_they_are_said_to_have() -> None:
    for case in read("mishaps.yaml")["odd"]:
        sheet = rows(case["file"])
        assert len(sheet) - sheet.index([]) - 2 == case["rows"] > 0
        assert case["as_of"] > date(2026, 1, 30)


def test_the_record_is_of_forty_pieces_in_four_months() -> None:
    days = sorted(path.name for path in (HERE / "mishaps" / "history").iterdir())
    assert (days[0], days[-1]) == ("2025-10-10", "2026-01-30")
    pieces: set[str] = set()
    for path in (HERE / "mishaps" / "history").glob("*/bow.csv"):
        sheet = rows(str(path.relative_to(HERE / "mishaps")))
        pieces |= {row[1] for row in sheet[sheet.index([]) + 2 :]}
    assert len(pieces) == 40
