"""Answers set to the width of a terminal: nothing is lost, nothing too wide, columns stay columns."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.cli.shown import fitted, painted
from qc.report.terminal import table

LINE = "Slide clearance has come out 26 µm wider since QH-1205 (12 Nov); see `qc signals show 4ae1`."


def words_of(text):
    return re.findall(r"\S+", text)


def test_what_fits_stays_as_it_is():
    text = "Nothing has moved.\n\n  a   b\n  c   d"
    assert fitted(text, 40) == text


def test_a_sentence_wraps_with_what_belongs_together_kept_together():
    lines = fitted(LINE, 48).split("\n")
    assert max(map(len, lines)) <= 48 and all(line.startswith("  ") for line in lines[1:])
    for whole in ("26 µm", "12 Nov", "`qc signals show 4ae1`"):
        assert any(whole in line for line in lines), whole


@pytest.mark.parametrize("item", ["- ", "  3. ", "    [x] "])
def test_an_item_goes_on_under_its_own_beginning(item):
    first, *rest = fitted(item + LINE, 48).split("\n")
    assert first.startswith(item) and rest
    assert all(line[: len(item)] == " " * len(item) and line[len(item)] != " " for line in rest)


def test_the_last_column_wraps_in_its_place_where_there_is_room():
    rows = table([("4ae10cd3", "open", LINE), ("432aadfc", "in hand", "It fell.")], indent="")
    told = fitted("\n".join(rows), 60).split("\n")
    assert max(map(len, told)) <= 60
    at = told[0].index("Slide")
    assert told[1][:at].strip() == "" and told[1][at] != " " and told[-1].index("It fell.") == at


def test_a_remark_behind_wide_columns_goes_below_its_row():
    rows = table([("Tuning: F wrap length error", "drifting", "limits unproven", LINE)] * 2, indent="")
    told = fitted("\n".join(rows), 60).split("\n")
    assert told[0].endswith("limits unproven") and told[1].startswith("    Slide clearance")
    assert max(map(len, told)) <= 60


def test_many_words_beside_a_row_stand_close_below_it():
    cells = (
        "Slide: Slide clearance",
        "172.7 µm",
        "177.5 at upper leg, mouth",
        "100 to 200",
        "inside",
        "above 59 of 60",
    )
    rows = table(
        [cells, ("Joints: Joint leak", "2.0 cm³/min", "", "to 4", "inside", "above 53 of 60")], indent=""
    )
    told = fitted("\n".join(rows), 45).split("\n")
    assert told[-1].strip() == "to 4  inside  above 53 of 60" and told[-1].startswith("    to 4")
    assert max(map(len, told)) <= 45 and told[0].endswith("172.7 µm")


def test_a_table_of_figures_is_told_in_parts_with_its_names_again():
    head = ("", "hours a month", "told after", "every 2nd", "advice")
    rows = table(
        [head, *((f"Series {n}", "2.3", str(n), "12 (11 to 13)", "keep") for n in range(4))],
        "<>>><",
        indent="",
    )
    told = fitted("\n".join(rows), 44).split("\n")
    assert max(map(len, told)) <= 44
    assert sum(line.startswith("Series 2") for line in told) > 1
    assert sorted(words_of("\n".join(rows))) == sorted(set_of_names_once(told))


def set_of_names_once(told):
    """Return the words of a table told in parts, the name of each row once."""
    seen, words = set(), []
    for line in told:
        name = line[:8] if line.startswith("Series") else ""
        words += words_of(line[len(name) :]) if name in seen else words_of(line)
        seen.add(name)
    return words


CELL = st.lists(st.text("abcdefgh0µ", min_size=1, max_size=6), max_size=5).map(" ".join)


@given(st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=6), st.integers(40, 120))
def test_no_word_is_lost_and_no_line_is_wider_whatever_the_table(rows, width):
    text = "\n".join(table(rows, "<><"))
    told = fitted(text, width)
    assert max(map(len, told.split("\n"))) <= width
    assert set(words_of(told)) == set(words_of(text))


@given(st.text("abc .\n-12[]x()`", max_size=400), st.integers(40, 100))
def test_any_text_keeps_its_words_in_order_and_fits(text, width):
    told = fitted(text, width)
    assert "".join(told.split()) == "".join(text.split()) or len(told.split()) > len(text.split())
    assert all(len(line) <= width or " " not in line.strip() or "`" in line for line in told.split("\n"))


def test_what_asks_for_somebody_is_marked_and_never_by_colour_alone():
    rows = [("Slide: Force", "drifting  ", "limits not kept"), ("Bell: Wall", "steady", "limits kept")]
    text = "\n".join(["Workshop, 24 Nov", "", *table(rows, indent="")])
    marked = painted(text, colours=False)
    assert "drifting ▲ " in marked and "steady   " in marked and "\x1b" not in marked
    assert [len(line) for line in marked.split("\n")] == [len(line) for line in text.split("\n")]
    coloured = painted(text)
    assert coloured.startswith("\x1b[1mWorkshop, 24 Nov\x1b[0m\n")
    assert re.sub(r"\x1b\[\d+m", "", coloured) == marked
    assert painted(text, marks=False, colours=False) == text
