"""Columns of a terminal: as wide as their longest cell, words left, numbers right, and nothing lost."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.report.terminal.columns import block, figures, notes, table

cells = st.text("abc123%µ", min_size=1, max_size=9)
grids = st.integers(1, 5).flatmap(lambda n: st.lists(st.tuples(*[cells] * n), min_size=1, max_size=6))


@given(grids, st.text("<>", min_size=1, max_size=5))
def test_every_cell_stands_in_its_column_once(rows, sides):
    lines = table(rows, sides)
    assert [tuple(line.split()) for line in lines] == rows
    at = 2
    for column, own in enumerate(zip(*rows, strict=True)):
        wide = max(map(len, own))
        for line, cell in zip(lines, own, strict=True):
            place = line[at : at + wide].ljust(wide)
            right = (sides + sides[-1] * 5)[column] == ">"
            assert place == (cell.rjust(wide) if right else cell.ljust(wide))
        at += wide + 2


@given(grids)
def test_no_line_ends_in_blanks_or_lines_up_by_chance(rows):
    for line in table([*rows, ("",)]):
        assert line == line.rstrip()


def test_rows_may_be_short_and_there_may_be_none():
    assert table([]) == []
    assert table([("part", "error", "do"), ("main", "not known"), ("F",)], "<><", indent="") == [
        "part      error  do",
        "main  not known",
        "F",
    ]


def test_given_widths_hold_whatever_the_cells_are():
    rows = [("a", "one", "said"), ("longer", "two", "so")]
    assert table(rows, widths=(4, 5), indent="", gap="") == ["a   one  said", "longertwo  so"]


def test_tables_of_one_answer_line_up():
    first, second = figures([("part", "1.0", "2.0", "  cut")], "<>><"), figures([("partial", "3.0")])
    assert first == ["part                  1.0        2.0  cut"] and second == ["partial               3.0"]
    assert first[0].index("1.0") == second[0].index("3.0")


@pytest.mark.parametrize("sentences", [(), ("Re-measure.",), ("a.", "b.")])
def test_a_list_has_its_title_only_where_there_is_something(sentences):
    assert block("Cautions", sentences) == (
        ["", "Cautions:", *(f"- {sentence}" for sentence in sentences)] if sentences else []
    )
    assert len(notes(sentences)) == (len(sentences) + 1 if sentences else 0)
