"""The cases hold together: files are there, and every expectation speaks of the plan beside it."""

from __future__ import annotations

import importlib.util
import sys
import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import yaml

from qc.plan import Characteristic, check_plan, load_plan

HERE = Path(__file__).parent
KINDS = """
same-card-twice doubled-serial other-prefix next-year-series letter-in-serial serial-digits-swapped
prefix-left-off serial-is-none decimal-slip count-times-ten digits-swapped columns-swapped
figure-of-another-stage other-model other-model-figures wrong-year day-month-swapped before-earlier-stage
after-shipping unit copied-run far-from-neighbours place-twice unknown-code sign-lost shipped-twice
shipped-unmade future-date within-the-usual
""".split()
TRUE_KINDS = """
re-measured new-year-series old-year-series-goes-on long-ago real-change lot long-tail handed-in-late
equal-by-chance out-of-order weekend measured-later-again half-a-card all-good real-fault edge-of-limits
""".split()
COLUMNS = {"serial", "model", "day", "person", "gauge", "value", "station", "spot"}
NOTE_PLACES = {"partial", "position"}  # a tuning card has them without the plan's naming them


def read(name: str) -> Any:
    """The data of one yaml file beside this test."""
    return yaml.load((HERE / name).read_text("utf-8"), Loader=yaml.CSafeLoader)


def program() -> Any:
    """The script that writes the workbooks."""
    spec = importlib.util.spec_from_file_location("make_sheets_of_layouts", HERE / "make_sheets.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


PLAN = load_plan(HERE / "plan.yaml")
CHARACTERISTICS: dict[str, Characteristic] = {c.id: c for stage in PLAN.stages for c in stage.characteristics}
LAYOUTS = read("layouts.yaml")["layouts"]
MISHAPS = read("mishaps/mishaps.yaml")


def check_reading(reading: list[Any]) -> None:
    """One expected reading names a model, a figure and places of the plan, a real day and a number."""
    serial, model, day, characteristic, places, value = reading
    assert serial.startswith(PLAN.workshop.serial_prefix)
    assert model in {m.id for m in PLAN.models}
    assert isinstance(day, date)
    assert isinstance(value, int | float)
    asked = CHARACTERISTICS[characteristic]
    assert not asked.derive
    for name, place in (part.split("=") for part in places.split()):
        allowed = dict(asked.places).get(name)
        if allowed is None:
            assert characteristic == "note"
            assert name in NOTE_PLACES
        else:
            assert place in {str(each) for each in allowed}, (characteristic, name, place)


def test_the_plan_is_in_order() -> None:
    """The plan has no fault."""
    assert check_plan(HERE / "plan.yaml") == []


def test_every_layout_has_its_file_and_every_file_its_layout() -> None:
    """Fifty layouts, none without a file, no file without an expectation."""
    named = [layout["file"] for layout in LAYOUTS]
    assert len(named) == len(set(named)) == 50
    assert set(named) == {path.name for path in (HERE / "layouts").iterdir()}


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: str(layout["file"]))
def test_a_layout_speaks_of_the_plan(layout: dict[str, Any]) -> None:
    """Something must come of every layout, and it is written in the words of the plan."""
    readings = layout["readings"]
    assert len({tuple(reading[:5]) for reading in readings}) == len(readings)
    for reading in readings + layout.get("may_be_read", []):
        check_reading(reading)
    assert readings or layout.get("asks") or layout.get("held")
    assert layout["why"]


@pytest.mark.parametrize(
    "layout",
    [each for each in LAYOUTS if each["file"].endswith("csv")],
    ids=lambda layout: str(layout["file"]),
)
def test_what_a_question_names_stands_on_the_sheet(layout: dict[str, Any]) -> None:
    """What must be asked about, and what is held as typed, can be found on the sheet."""
    raw = (HERE / "layouts" / layout["file"]).read_bytes()
    text = raw.decode("latin-1" if layout["file"] == "23-german-head.csv" else "utf-8")
    for named in [*layout.get("asks", []), *(held["typed"] for held in layout.get("held", []))]:
        assert named in text


def cells(book: Path) -> dict[str, bytes]:
    """The parts of a workbook that hold cells and boxes; the rest tells of the program that wrote it."""
    with zipfile.ZipFile(book) as parts:
        names = [name for name in parts.namelist() if name.startswith(("xl/worksheets/", "xl/sharedStrings"))]
        return {name: parts.read(name) for name in names}


def test_the_workbooks_are_made_again(tmp_path: Path) -> None:
    """The script writes the cells that the stored workbooks have."""
    program().main(tmp_path)
    made = sorted(path.name for path in tmp_path.iterdir())
    assert made == sorted(path.name for path in (HERE / "layouts").glob("*.xlsx"))
    for name in made:
        assert cells(tmp_path / name) == cells(HERE / "layouts" / name)


def test_every_sheet_of_the_mishaps_is_named_once() -> None:
    """120 slips, 60 true cards, and no sheet beside them."""
    slips, true_cards = MISHAPS["mishaps"], MISHAPS["true_cards"]
    assert (len(slips), len(true_cards)) == (120, 60)
    named = [each["file"] for each in slips + true_cards]
    assert len(set(named)) == len(named)
    assert set(named) == {path.name for path in (HERE / "mishaps" / "sheets").iterdir()}


@pytest.mark.parametrize("slip", MISHAPS["mishaps"], ids=lambda slip: str(slip["file"]))
def test_a_slip_stands_on_its_sheet(slip: dict[str, Any]) -> None:
    """The kind is known, and what was typed stands in the lines named."""
    lines = (HERE / "mishaps" / "sheets" / slip["file"]).read_text(encoding="utf-8").splitlines()
    assert slip["kind"] in KINDS
    assert slip["right"] in {"mend", "mend-or-ask", "ask", "none"}
    assert slip["detectable"] == (slip["right"] != "none")
    if slip["right"].startswith("mend"):
        assert slip["slips"]
    for each in slip.get("slips", []):
        assert each["column"] in COLUMNS
        assert (each["column"] == "value") == ("characteristic" in each)
        assert each.get("characteristic", "wall") in CHARACTERISTICS
        for line in each["lines"]:
            assert each["typed"] in lines[line - 1].split(";")


@pytest.mark.parametrize("card", MISHAPS["true_cards"], ids=lambda card: str(card["file"]))
def test_a_true_card_has_its_rows(card: dict[str, Any]) -> None:
    """The kind is known and the sheet has as many rows as are said never to be held."""
    lines = (HERE / "mishaps" / "sheets" / card["file"]).read_text(encoding="utf-8").splitlines()
    assert card["kind"] in TRUE_KINDS
    assert len(lines) - 3 == card["rows"] > 0


def test_the_record_is_older_than_what_is_handed_in_after_it() -> None:
    """Every folder of the record is a day before every hand-in."""
    last = max(date.fromisoformat(folder.name) for folder in (HERE / "mishaps" / "history").iterdir())
    assert all(last < each["hand_in"] for each in MISHAPS["mishaps"] + MISHAPS["true_cards"])
