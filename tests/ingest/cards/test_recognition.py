import pytest

from qc.ingest import SheetError, read_sheet
from qc.ingest.cards.layout import part_sheet
from qc.ingest.cards.recognition import card_characteristics, recognise_card


@pytest.fixture
def recognise(as_csv, plan):
    def run(rows, separator=","):
        return recognise_card(part_sheet(read_sheet(as_csv(rows, separator), "card.csv")[0]), plan)

    return run


@pytest.mark.parametrize("name", ["Bell wall map", "bell-map", " BELL  wall MAP "])
def test_the_head_names_the_card(recognise, name):
    sheet = recognise([["Card", name], [], ["Serial", "Station", "Direction", "Wall"], ["TH-1", 1, 0, 0.5]])
    assert sheet.card.id == "bell-map"


def test_a_title_above_the_table_names_it_too(recognise):
    sheet = recognise([["Polishing card"], [], ["Date", "Serial", "Mass loss"], ["2026-05-12", "TH-1", 18]])
    assert sheet.card.id == "polish-card"


@pytest.mark.parametrize(
    ("headings", "card"),
    [
        (["Leg", "Station", "Direction", "Surface", "Inner OD [mm]", "Outer bore [mm]"], "slide-card"),
        (["Station", "Leg", "Direction", "Clearance [um on diameter]"], "slide-card"),
        (["Partial", "Position", "Valve", "Cents"], "tuning-card"),
        (["Partial", "Position", "Hz"], "tuning-card"),
        (["Area", "Spot", "Thickness [um]"], "lacquer-card"),
        (["Tube", "Die", "Draws", "OD [mm]", "Bore [mm]", "Length [mm]"], "drawing-log"),
        (["Serial", "Station", "Direction", "Bell wall [mm]"], "bell-map"),
        (["Date", "Serial", "Leak", "Joint faults"], "joints-card"),
        (["Serial", "Part", "Role"], "assembly"),
        (["Serial", "Shipped", "Person"], "shipping"),
        (["Serial", "Returned", "Cause"], "returns"),
        (["Serial", "Stage", "Hours", "Cause"], "rework"),
        (["Date", "Gauge", "Deviation", "Zeroed"], "gauge-checks"),
        (["Date", "Tool", "Class"], "tools-fitted"),
    ],
)
def test_columns_tell_the_card(recognise, headings, card):
    assert recognise([headings, ["x"] * len(headings)]).card.id == card


def test_shortened_names_of_figures_are_understood(recognise):
    sheet = recognise([["Tube", "OD", "Bore", "Length mm"], ["T-1", 14.9, 14.05, 690]])
    assert {"value:tube_od", "value:tube_bore", "value:tube_length", "serial"} == set(sheet.columns)


def test_a_gauge_may_stand_under_the_name_of_its_class(recognise):
    rows = [
        ["Card", "Drawing log"],
        ["Micrometer", "MIC-1"],
        ["Bore gauge", "BG-1"],
        [],
        ["Tube", "OD", "Bore"],
        ["T-1", 14.9, 14.05],
    ]
    sheet = recognise(rows)
    assert sheet.head["gauge:micrometer"].text == "MIC-1"
    assert sheet.head["gauge:bore-gauge"].text == "BG-1"


def test_unknown_labels_of_the_head_are_kept(recognise):
    rows = [
        ["Card", "Bell wall map"],
        ["Weather", "wet"],
        [],
        ["Serial", "Station", "Direction", "Wall"],
        ["TH-1", 1, 0, 0.5],
    ]
    assert [(v.label, v.text) for v in recognise(rows).extra] == [("Weather", "wet")]


@pytest.mark.parametrize(
    ("rows", "words", "hint"),
    [
        ([["Card", "Tea list"], [], ["a", "b", "c"], [1, 2, 3]], "no card Tea list", "Bell wall map"),
        ([["a", "b", "c"], [1, 2, 3]], "fit none of the plan's cards", "Write Card and its name"),
        ([["Serial", "Person", "Date"], [1, 2, 3]], "fit none", "Tuning card"),
        (
            [["Card", "Bell wall map"], [], ["Serial", "Station", "Wall", "Mood"], [1, 2, 3, 4]],
            "has no column Mood",
            "under Note",
        ),
        (
            [["Card", "Bell wall map"], [], ["Serial", "Station", "Wall [furlong]"], [1, 2, 3]],
            "unknown unit",
            "[mm]",
        ),
        ([["Card", "Drawing log"], [], ["Tube", "OD", "Tube OD"], [1, 2, 3]], "mean the same", "Keep one"),
    ],
)
def test_refusals_say_what_to_do(recognise, rows, words, hint):
    with pytest.raises(SheetError, match=words) as caught:
        recognise(rows)
    assert hint in caught.value.hint


def test_characteristics_come_in_the_order_of_the_card(plan):
    card = next(card for card in plan.cards if card.id == "drawing-log")
    assert [c.id for c in card_characteristics(card, plan)] == ["tube_od", "tube_bore", "tube_length"]
