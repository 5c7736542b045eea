"""Layouts of a seventh stranger, untuned: what is read of them today is not lost.

Scored before anybody who mends the reader had looked at them: 38 of 50 right, 7 refused, 5 held; after the
mechanisms that the sixth asked for 40, 6 and 4; none misread.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import score_sheets as score  # noqa: E402

RIGHT, REFUSED, MISREAD = 40, 6, 0


def test_as_many_layouts_of_the_seventh_stranger_are_read_as_were_once() -> None:
    seen, others = score.seen_layouts(HERE)
    assert seen.total() == 50
    assert seen["right"] >= RIGHT, others
    assert seen["refused"] <= REFUSED and seen["misread"] <= MISREAD
