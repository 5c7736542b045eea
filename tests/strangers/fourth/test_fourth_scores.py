"""Layouts of a fourth stranger, on which nothing has been tuned: what is read of them today is not lost.

Scored before anybody had looked at them: 41 of 50 right, four refused, one held, two with a question that
does not name what is asked, two misread (a serial written `OS 246` or `241` where the others are `OS-246`).
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import score_sheets as score  # noqa: E402

RIGHT, REFUSED, MISREAD = 41, 4, 2


def test_as_many_layouts_of_the_fourth_stranger_are_read_as_were_at_first_sight() -> None:
    plan, day = score.planned(HERE)
    told = {case["file"]: score.layout_outcome(HERE, case, plan, day) for case in score.read_layouts(HERE)}
    seen = Counter(said.split(":")[0].split(" ")[0] for said in told.values())
    assert len(told) == 50
    assert seen["right"] >= RIGHT, {file: said for file, said in told.items() if said != "right"}
    assert seen["refused"] <= REFUSED and seen["misread"] <= MISREAD
