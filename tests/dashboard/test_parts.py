"""What never breaks in two at the end of a line: serials, names, days, short cells of a table."""

import pytest

from dashboard.parts import table, unbroken


def whole(parts):
    return [part.children for part in parts if getattr(part, "className", "") == "whole"]


@pytest.mark.parametrize(
    "sentence, kept",
    [
        ("Fifth partial is flat since QH-1197 (5 Nov).", ["QH-1197", "5 Nov"]),
        ("Check BG-1 and MIC-2.", ["BG-1", "MIC-2"]),
        ("Raised 12 Nov 2026 by 6.2 µm a week.", ["12 Nov 2026", "6.2 µm"]),
        ("In 3 Novel ways.", []),
    ],
)
def test_serials_names_and_days_of_a_sentence_stay_whole(sentence, kept):
    parts = unbroken(sentence)
    assert whole(parts) == kept
    assert "".join(part if isinstance(part, str) else part.children for part in parts) == sentence


def test_short_cells_stay_on_one_line_and_long_ones_may_break():
    body = table(["Made", "Model", "Figure"], [["23 Nov 2026", "Bass with F valve", "12.5"]], "Pieces", (2,))
    cells = body.children.children[2].children[0].children
    assert [getattr(cell, "className", "") for cell in cells] == ["whole", "", "num"]
