"""What is proposed to a person who shows a layout: the card by its words, figures by their values."""

from pathlib import Path

import pytest

from qc.ingest import POINTED, SheetReader, propose_pointing
from qc.ingest.sources.by_values import figures_by_values, usual_range
from qc.plan import Card, Characteristic, DatedLimits, Plan, Shop, Stage, load_plan

STRANGERS = Path(__file__).parents[2] / "strangers"


@pytest.fixture(scope="module")
def proposed():
    """Propose for a stranger's sheet as the page does."""
    with_reader = SheetReader()

    def run(stranger, name):
        root = STRANGERS / stranger
        (path,) = (root / "layouts").glob(f"{name}-*")
        return propose_pointing(
            with_reader.read(path.name, path.read_bytes())[0], load_plan(root / "plan.yaml")
        )

    yield run
    with_reader.close()


@pytest.mark.parametrize(
    ("stranger", "name", "card"),
    [
        (
            "seventh",
            "09",
            "slide-card",
        ),  # its title stands on it; the words of its table fit the draw log too
        ("seventh", "44", "tuning-card"),
        ("eighth", "08", "silver-card"),
        ("eighth", "18", "glow-card"),
        ("eighth", "40", "silver-card"),
        ("sixth", "07", "hammer-card"),
    ],
)
def test_the_card_is_proposed_by_title_and_words(proposed, stranger, name, card):
    assert proposed(stranger, name).card == card


def test_columns_without_a_heading_are_proposed_by_their_values_and_marked_so(proposed):
    lines = [one for one in proposed("eighth", "36").lines if one.by_values]
    assert [one.meaning for one in lines] == [
        "hardness|station=rand",
        "hardness|station=mitte",
        "hardness|station=hals",
        "blank_mass",
    ]
    twelve = [one.meaning for one in proposed("seventh", "42").lines if one.by_values]
    assert len(twelve) == len(set(twelve)) == 12 and {one.partition("|")[0] for one in twelve} == {
        "outer_bore"
    }


@pytest.mark.parametrize("name", ["07", "20", "24", "43"])
def test_what_may_be_about_nought_is_not_told_by_its_values(proposed, name):
    assert not [one for one in proposed("eighth", name).lines if one.meaning not in {"", *POINTED}]


def bores(**more):
    bore = Characteristic(
        id="bore", name="Bore", unit="mm", places={"station": ("1", "2")},
        limits=(DatedLimits(lower=13.9, upper=14.1),),
    )  # fmt: skip
    other = [Characteristic(id="od", name="OD", unit="mm", limits=(DatedLimits(**more),))] if more else []
    stage = Stage(id="slide", name="Slide", characteristics=(bore, *other))
    card = Card(id="bench", title="Bench", source="bench", stage="slide")
    choices = ["bore|station=1", "bore|station=2", *(["od"] if more else [])]
    return lambda *columns: figures_by_values(
        columns, {}, card, Plan(workshop=Shop(name="Mill"), models=(), stages=(stage,)), choices
    )


def test_as_many_lines_side_by_side_as_a_figure_has_places_are_its_places():
    told = bores()
    assert told(["14.0"], ["14.01"]) == {0: "bore|station=1", 1: "bore|station=2"}
    assert told(["14.0"], ["14.01"], ["14.02"]) == {}, "three for two places"
    assert told(["14.0"], ["x"], ["14.01"]) == {}, "not side by side"
    assert told(["14.0", "n"], ["14.01", "14.0"]) == {}, "a line that holds more than numbers"


def test_what_may_be_two_things_is_left_open():
    assert bores(lower=5.0, upper=6.0)(["14.0"], ["14.01"], ["5.5"])[2] == "od"
    assert bores(lower=13.8, upper=14.2)(["14.0"]) == {0: "od"}
    assert bores(lower=-0.1, upper=0.1)(["0.02"]) == {}
    wide = bores(lower=13.0, upper=15.0)
    assert wide(["14.0"], ["12.5"]) == {}, "one of two alike lines is no answer for either"


def test_the_usual_range_is_the_widest_of_any_model():
    plan = Plan(workshop=Shop(name="Mill"), models=(), stages=())
    none = Characteristic(id="od", name="OD", unit="mm", limits=(DatedLimits(upper=5.0),))
    assert usual_range(none, plan) is None, "one end is no range"
