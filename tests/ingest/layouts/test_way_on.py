"""A sheet whose layout is not read is refused with one sentence that ends in a way on."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from qc.ingest import SheetError, read_sheet, unfold

STRANGERS = Path(__file__).parents[2] / "strangers"
HOW_TO = Path(__file__).parents[3] / "docs" / "how-to"
sys.path.insert(0, str(STRANGERS))

import score_sheets as score  # noqa: E402

PLAN, _ = score.planned(STRANGERS / "eighth")
WAY = re.compile(
    r"Or show the card once, cell by cell: qc upload (.+) --mapping FILE \(how-to ([a-z-]+)\)\.$"
)


def refused(name, text, plan=PLAN):
    with pytest.raises(SheetError) as error:
        for grid in read_sheet(text.encode(), name):
            unfold(grid, plan)
    return error.value


def test_every_card_of_a_stranger_that_is_refused_names_the_way_on():
    said = []
    for file in sorted((STRANGERS / "eighth" / "layouts").iterdir()):
        try:
            for grid in read_sheet(file.read_bytes(), file.name):
                unfold(grid, PLAN)
        except SheetError as error:
            said.append((file.name, error))
    assert len(said) > 5, "some are refused, else this says nothing"
    for name, error in said:
        way = WAY.search(str(error))
        assert way is not None and way[1] == name, error
        assert (HOW_TO / f"{way[2]}.md").is_file()
        assert error.hint.endswith(way[0]) and error.to_dict()["hint"] == error.hint


def test_the_way_on_can_be_typed_as_it_stands():
    error = refused("bow card.csv", "Card;Bow card\n\nSerial;Model;\nTW-1;reiher;0,52\nTW-2;reiher;0,53\n")
    assert WAY.search(str(error))[1] == '"bow card.csv"'


def test_a_column_with_figures_and_no_heading_ends_in_it_too(plan):
    head = "Card,Bell wall map\nSerial,TB-0001\nModel,TB-1\nDate,2026-05-14\nPerson,AB\n\n"
    text = f"{head}Station,,Wall\n1,x,0.5\n"
    error = refused("wall.csv", text, plan)
    assert "no heading" in error.problem and WAY.search(str(error))


def test_figures_under_headings_sought_in_the_wrong_line_are_not_called_nothing():
    error = refused("a.csv", "Card;Bow card\nDate;2026-03-10\n;Foo;Bar\nTW-1;0,5;0,6\n")
    assert WAY.search(str(error))


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("\n\n", id="empty"),
        pytest.param("Card;Bow card\n\nSerial;Model;Bow span\n", id="headings alone"),
    ],
)
def test_where_nothing_is_filled_in_there_is_nothing_to_show(text):
    assert WAY.search(str(refused("a.csv", text))) is None


def test_a_list_of_events_cannot_be_shown_so_it_is_not_offered(plan):
    error = refused("list.csv", "Card,Shipping list\n\nWhat,Ever\n1,2\n", plan)
    assert WAY.search(str(error)) is None
