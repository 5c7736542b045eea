"""The layouts of the fourth stranger come out as they were meant, and what was reached is kept.

Scored before anybody had looked at them: 41 of 50 right, four refused, one held, two with a question that did
not name what is asked, two misread (a serial written `OS 246` or `241` where the others are `OS-246`). What
these nine showed was mended then, so this folder is tuned on: it no longer tells how unseen cards are read.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import score_sheets as score  # noqa: E402


@pytest.mark.parametrize("case", score.read_layouts(HERE), ids=lambda case: case["file"])
def test_a_layout_of_the_fourth_stranger_is_read_as_it_was_meant(case: score.Case) -> None:
    assert score.layout_outcome(HERE, case, *score.planned(HERE)) == "right"
