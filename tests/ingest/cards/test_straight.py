"""A sheet in any layout gives the same readings, and one that can be meant two ways gives none."""

from __future__ import annotations

from pathlib import Path

import pytest

from qc.ingest import SheetError, read_sheet, unfold
from qc.plan import load_plan

PLAN = load_plan(Path(__file__).parents[2] / "strangers" / "sheets" / "plan.yaml")

GAPS = {("KT26-29", 1, 88.1), ("KT26-29", 2, 88.0), ("KA26-13", 1, 78.2), ("KA26-13", 2, 78.1)}


def read(text):
    """Return the readings of one csv sheet."""
    return unfold(read_sheet(text.encode(), "card.csv")[0], PLAN).readings


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(
            "Date;Serial;Model;Spot;Leg gap\n24.11.2026;KT26-29;tenor;1;88,1\n"
            "24.11.2026;KT26-29;tenor;2;88,0\n"
            "24.11.2026;KA26-13;alto;1;78,2\n24.11.2026;KA26-13;alto;2;78,1\n",
            id="plain",
        ),
        pytest.param(
            "Gap card\n\nDate;Serial;Model;Gap 1;Gap 2\n24.11.2026;KT26-29;tenor;88,1;88,0\n"
            "24.11.2026;KA26-13;alto;78,2;78,1\n",
            id="wide",
        ),
        pytest.param(
            "Gap card\n\nSerial;KT26-29;KA26-13\nModel;tenor;alto\nDate;24.11.2026;24.11.2026\n"
            "Spot 1;88,1;78,2\nSpot 2;88,0;78,1\n",
            id="across",
        ),
        pytest.param(
            "Date;24.11.2026\n\nSerial;Model;What;Value\n"
            "KT26-29;tenor;Leg gap 1;88,1\nKT26-29;tenor;Leg gap 2;88,0\n"
            "KA26-13;alto;Leg gap 1;78,2\nKA26-13;alto;Leg gap 2;78,1\n",
            id="long",
        ),
        pytest.param(
            "Gap card  24.11.2026\n\nSerial;KT26-29\nModel;tenor\n\nSpot;Leg gap\n1;88,1\n2;88,0\n\n"
            "Serial;KA26-13\nModel;alto\n\nSpot;Leg gap\n1;78,2\n2;78,1\n",
            id="cards below each other",
        ),
        pytest.param(
            "Date;Serial;Model;Spot;Leg gap\n24.11.2026;KT26-29;tenor;1;88,1\n;;;2;88,0\n"
            ";KA26-13;alto;1;78,2\n;;;2;78,1\n",
            id="blocks",
        ),
    ],
)
def test_the_same_rows_in_any_layout_give_the_same_readings(text):
    found = read(text)
    assert set(found.select("serial", "spot", "value").rows()) == GAPS
    assert {str(day) for day in found["day"]} == {"2026-11-24"}
    assert dict(found.select("serial", "model").rows()) == {"KT26-29": "tenor", "KA26-13": "alto"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param(
            "Card;Tuning card\nSerial;KT26-30\nModel;tenor\nDate;24.11.2026\n\nValve;2;3;4\nopen;3;5;-1\n",
            "2 may be partial 2 or position 2",
            id="a number that is a partial or a position",
        ),
        pytest.param(
            "Rim card\n\nSerial;What;Value\nKT26-29;Rim width;3\n", "no figure Rim width", id="what"
        ),
        pytest.param(
            "Gap card\n\nSerial;KT26-29;KA26-13\nDate;24.11.2026;24.11.2026\n"
            "Spot 1;88,1;78,2\nSpit 2;88,0;78,1\n",
            "fit none|no column|no heading",
            id="a place no one knows",
        ),
        pytest.param("Gap card\n\nSerial;Spot;Gap 1\nKT26-29;2;88,1\n", "no column Gap 1", id="two places"),
    ],
)
def test_what_can_be_meant_two_ways_is_refused_with_what_is_open(text, said):
    with pytest.raises(SheetError, match=said):
        read(text)


def test_unknown_columns_of_figures_are_held_under_one_question():
    found = read("Rim card\n\nSerial;Rim diameter;Lamp hours;Oven\nKT26-29;204;311;5\n")
    held = found.filter(found["hint"].str.starts_with("asked="))
    assert found.height == 3 and held.height == 2
    assert all("no columns Lamp hours and Oven" in hint for hint in held["hint"])


def test_a_column_of_persons_is_known_by_its_cells():
    found = read("Rim card\n\nSerial;Persn;Rim diameter\nKT26-29;AL;204\n")
    assert found.select("person", "value").rows() == [("AL", 204.0)]


def test_a_serial_left_out_is_not_filled_where_each_row_is_a_piece_of_its_own():
    found = read(
        "Date;Serial;Model;Leak;Torque\n24.11.2026;KT26-29;tenor;1,8;2,4\n24.11.2026;;tenor;1,9;2,3\n"
    )
    assert found["serial"].to_list() == ["KT26-29", "KT26-29", "", ""]


def test_a_place_met_again_does_not_go_on_with_the_piece_above():
    found = read("Gap card\n\nSerial;Spot;Leg gap\nKT26-29;1;88,1\n;2;88,0\n;1;87,9\n")
    assert found["serial"].to_list() == ["KT26-29", "KT26-29", ""]


def test_a_model_does_not_pass_from_one_piece_to_the_next():
    first = "Gap card\nSerial;KT26-29\nModel;tenor\n\nSpot;Leg gap\n1;88,1\n\n"
    text = first + "Serial;KA26-13\n\nSpot;Leg gap\n1;78,2\n"
    assert read(text).select("serial", "model").rows() == [("KT26-29", "tenor"), ("KA26-13", "")]


def test_words_of_a_head_that_are_no_label_stay_a_remark():
    head = "Rim card\nDelivered;25.11.2026\nLooked at again on 26.11.2026 by ML\nDate;24.11.2026\n\n"
    text = head + "Serial;Rim diameter\nKT26-29;204\n"
    found = read(text)
    assert str(found["day"][0]) == "2026-11-24"
    assert found["person"][0] == ""
    assert "Delivered: 25.11.2026" in found["note"][0]
    assert "Looked at again" in found["note"][0]


def test_a_figure_across_names_the_cell_it_was_typed_in():
    found = read("Gap card\n\nDate;Serial;Model;Gap 1;Gap 2\n24.11.2026;KT26-29;tenor;88,1;88,x\n")
    assert found["cell"].to_list() == ["line 4, Gap 1", "line 4, Gap 2"]
    assert found["row"].to_list() == [4, 4]
    assert found["value"].to_list() == [88.1, None]


def test_several_pieces_in_one_row_are_kept_as_typed_for_the_doubt_about_them():
    found = read("Joint card\n\nDate;Serial;Leak\n24.11.2026;KT26-30 - KT26-32;2,1\n")
    assert found["serial"].to_list() == ["KT26-30 - KT26-32"]


def test_a_long_row_of_a_small_count_is_no_row_of_headings():
    head = "Nib card\nDate;24.11.2026\n\nSerial;Area;Characteristic;Value\n"
    found = read(head + "KT26-29;flare;dust nibs;1\nKA26-13;bow;dust nibs;3\n")
    assert found.select("serial", "value").rows() == [("KT26-29", 1.0), ("KA26-13", 3.0)]


def test_a_figure_of_another_stage_is_asked_about_and_its_card_named():
    text = "Joint card\n\nDate;Serial;Model;Leak;Hz\n24.11.2026;KT26-30;tenor;2,1;116,5\n"
    (held,) = read(text)["hint"].to_list()[1:]
    assert "no column Hz (Hz may be a figure of Tuning card)" in held
