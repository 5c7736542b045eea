"""Layouts of a sixth stranger come out as they were meant, and what was reached is kept.

Scored before anybody had looked at them: 29 of 50 right, 18 refused, 2 held, one misread before the kinds of
the fifth stranger were mended; 28, 19, 2 and one after, so mending kinds did not carry over. Then mechanisms
were built on every second case with the others left aside: of those 25 left aside 12 were right before and 18
after. So this folder is tuned on by half: it no longer tells how unseen cards are read.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import score_sheets as score  # noqa: E402

RIGHT, REFUSED, MISREAD = 42, 6, 0


def test_as_many_layouts_of_the_sixth_stranger_are_read_as_were_once() -> None:
    seen, others = score.seen_layouts(HERE)
    assert seen.total() == 50
    assert seen["right"] >= RIGHT, others
    assert seen["refused"] <= REFUSED and seen["misread"] <= MISREAD
