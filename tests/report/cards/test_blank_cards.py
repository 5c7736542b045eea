"""Blank cards: printed on one side, typed into in the plan's order, read back in that order."""

import io
from datetime import date
from pathlib import Path

import openpyxl
import pypdfium2
import pytest
import segno

from qc.ingest import read_sheet, unfold
from qc.plan import Card, Characteristic, Gauge, Model, ModelValve, Plan, Shop, Stage, load_plan
from qc.report.cards import blank_card, card_pdf, card_workbook

ROOT = Path(__file__).parents[3]
DAY = date(2026, 11, 24)
PLANS = {
    "sample": ROOT / "sample_measurements/plan.yaml",
    "first strangers": ROOT / "tests/strangers/sheets/plan.yaml",
    "second strangers": ROOT / "tests/strangers/second/plan.yaml",
}
LOADED = {name: load_plan(file) for name, file in PLANS.items()}
CARDS = [
    pytest.param(plan, card, id=f"{name}: {card.id}") for name, plan in LOADED.items() for card in plan.cards
]
SAID = {"Date": "23.11.2026", "Shipped": "23.11.2026", "Returned": "23.11.2026", "Verdict": "pass"}
LIST_LINES = 3


def names(plan, card):
    return {figure.name for figure in plan.figures_on(card)}


def filled(plan, card, wanted=lambda number: True):
    """Type into the workbook of a card; return its bytes and the figures in the order of typing."""
    blank = blank_card(card, plan)
    book = openpyxl.load_workbook(io.BytesIO(card_workbook(blank, DAY)))
    tab = book.active
    own = {**SAID, "Serial": "QH-1", "Model": plan.models[-1].id}
    for line, box in enumerate(blank.head, 1):
        if box.label in own:
            tab.cell(line, 2).value = own[box.label]
    figures = {heading for heading in blank.headings if heading.split(" [")[0] in names(plan, card)}
    typed, number = [], 0
    first = len(blank.head) + 3
    for line, row in enumerate(blank.rows[: LIST_LINES if blank.lines else None], first):
        for column, cell in enumerate(row):
            heading = blank.headings[column]
            if cell != "" or column < blank.places:
                continue
            number += 1
            if not wanted(number):
                continue
            if blank.lines:
                text = f"QH-{line}" if heading == "Serial" else own.get(heading, f"1.{number:03d}")
            else:
                text = f"1.{number:03d}"
            tab.cell(line, column + 1).value = text
            typed += [text] if not blank.lines or heading in figures else []
    out = io.BytesIO()
    book.save(out)
    return out.getvalue(), typed


def read_back(plan, data):
    (grid,) = read_sheet(data, "typed.xlsx")
    return unfold(grid, plan)


@pytest.mark.parametrize(("plan", "card"), CARDS)
def test_what_is_typed_into_a_card_is_read_back_in_that_order(plan, card):
    data, typed = filled(plan, card)
    found = read_back(plan, data)
    assert found.card == card.id
    assert found.readings["text"].to_list() == typed
    if blank_card(card, plan).lines:
        assert len(typed) == LIST_LINES * len(names(plan, card))
        assert found.events.height == LIST_LINES * bool(card.event)
        assert found.readings["serial"].n_unique() == LIST_LINES * bool(typed)
    else:
        assert found.readings["serial"].unique().to_list() == ["QH-1"]
        assert found.readings["day"].unique().to_list() == [date(2026, 11, 23)]
    assert not any("said above" in note for note in found.readings["note"])


@pytest.mark.parametrize("name", ["slide-card", "tuning-card"])
def test_every_place_of_the_plan_is_read_back_once(name):
    plan = LOADED["sample"]
    card = next(card for card in plan.cards if card.id == name)
    found = read_back(plan, filled(plan, card)[0]).readings
    at = ["characteristic", "leg", "station", "direction", "surface", "valve", "position", "partial"]
    assert found.select(at).is_unique().all()
    wanted = {"slide-card": {"inner_od": 24, "outer_bore": 12}, "tuning-card": {"note": 3 * 7 * 6}}[name]
    assert dict(found["characteristic"].value_counts().iter_rows()) == wanted


def test_what_is_left_blank_was_not_measured_and_a_blank_card_is_not_lost():
    plan = LOADED["sample"]
    card = next(card for card in plan.cards if card.id == "lacquer-card")
    data, typed = filled(plan, card, wanted=lambda number: number % 4 == 1)
    found = read_back(plan, data).readings
    assert found["text"].to_list() == typed == ["1.001", "1.005", "1.009", "1.013"]
    assert found["spot"].to_list() == [1, 5, 4, 3]
    nothing = read_back(plan, filled(plan, card, wanted=lambda number: False)[0]).readings
    assert nothing["text"].to_list() == [""]


@pytest.mark.parametrize(("plan", "card"), [CARDS[0], CARDS[4], CARDS[7], CARDS[-1]])
def test_the_page_is_one_side_of_a4_and_holds_the_code_of_its_card(plan, card):
    blank = blank_card(card, plan)
    data = card_pdf(blank, DAY)
    assert data == card_pdf(blank, DAY)
    document = pypdfium2.PdfDocument(data)
    assert len(document) == 1
    short, long = sorted(document[0].get_size())
    assert (round(short / 72 * 25.4), round(long / 72 * 25.4)) == (210, 297)  # ISO 216
    text = document[0].get_textpage().get_text_range()
    assert card.title in text and f"{card.id}.xlsx" in text
    assert text.count("upper") == 12 * (card.id == "slide-card")
    # the right upper corner, laid over the code as the library draws it
    code = segno.make(card.id, error="q", micro=False, boost_error=False)
    dots_mm = 10
    drawn = document[0].render(scale=25.4 / 72 * dots_mm).to_numpy()[:, :, 0]
    size = 20 * dots_mm
    left, top = drawn.shape[1] - 12 * dots_mm - size, 9 * dots_mm
    module = size / (len(code.matrix) + 8)
    for row, line in enumerate(code.matrix):
        for column, dark in enumerate(line):
            y, x = top + (row + 4.5) * module, left + (column + 4.5) * module
            assert (drawn[round(y), round(x)] < 128) == bool(dark), (row, column)


def mixed_plan(places, positions=7):
    """A card of a figure at places, one at some of them and one of the whole piece."""
    figures = (
        Characteristic(id="wall", name="Wall", unit="mm", places=places, resolution=0.01),
        Characteristic(id="dent", name="Dents", unit="count", kind="count", places={"area": ("rim", "neck")}),
        Characteristic(id="mass", name="Mass", unit="g"),
    )
    note = Characteristic(id="note", name="Note", unit="cent")
    valve = ModelValve(name="G", added_mm=700)
    model = Model(
        id="t", name="T", family="t", pedal_midi=34, length_mm=2940, valves=(valve,), positions=positions
    )
    cards = (
        Card(id="bell_card.2", title="Bells", source="bench", stage="bell"),
        Card(id="notes", title="Notes", source="tuning", stage="play"),
    )
    stages = (Stage(id="bell", name="Bell", characteristics=figures),)
    stages += (Stage(id="play", name="Play", characteristics=(note,)),)
    gauge = Gauge(id="W-1", name="W", gauge_class="wall gauge", resolution=0.01, unit="mm")
    return Plan(
        workshop=Shop(name="Ostmarn Brass"), models=(model,), stages=stages, gauges=(gauge,), cards=cards
    )


def test_figures_of_different_places_share_a_card():
    plan = mixed_plan({"station": ("1", "2"), "direction": ("0", "90")})
    blank = blank_card(plan.cards[0], plan)
    assert blank.rows[0][-3:] == ("", None, "")
    assert [row[-2] for row in blank.rows] == [None] * 4 + ["", ""]
    assert sum(row[-1] == "" for row in blank.rows) == 1
    data, typed = filled(plan, plan.cards[0])
    found = read_back(plan, data).readings
    assert found["text"].to_list() == typed
    rows = found.select("characteristic", "station", "direction", "area").rows()
    assert rows[:2] == [("wall", "1", "0", ""), ("mass", "", "", "")]
    assert rows[-1] == ("dent", "", "", "neck")


def test_a_note_card_takes_its_places_from_the_models():
    plan = mixed_plan({"station": ("1",)}, positions=6)
    blank = blank_card(plan.cards[1], plan)
    assert [row[:2] for row in blank.rows] == [(v, str(p)) for v in ("open", "G") for p in range(1, 7)]
    assert blank.headings[2:] == tuple(f"Partial {n}" for n in (2, 3, 4, 5, 6, 8))


@pytest.mark.parametrize("stations", [25, 60])
def test_many_places_still_stand_on_one_side(stations):
    plan = mixed_plan({"station": tuple(map(str, range(stations)))})
    assert len(pypdfium2.PdfDocument(card_pdf(blank_card(plan.cards[0], plan), DAY))) == 1
