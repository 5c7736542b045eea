"""Layouts of an eighth stranger, untuned: what is read of them today is not lost.

Harder than those before it on purpose: figures in lines of talk, a cover tab alone with serial and model,
forms beside each other. Scored before anybody who mends the reader had looked at them: 13 of 50 right,
25 refused, 10 held, 2 misread. Both misreadings were mended afterwards.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import score_sheets as score  # noqa: E402

RIGHT, REFUSED, MISREAD = 14, 25, 0


def test_as_many_layouts_of_the_eighth_stranger_are_read_as_were_once() -> None:
    seen, others = score.seen_layouts(HERE)
    assert seen.total() == 50
    assert seen["right"] >= RIGHT, others
    assert seen["refused"] <= REFUSED and seen["misread"] <= MISREAD
