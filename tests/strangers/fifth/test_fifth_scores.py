"""Layouts of a fifth stranger, on which all but one line is untuned: what is read of them today is not lost.

Scored before anybody had looked at them: 32 of 50 right, 17 refused, one misread (`449T - 451T` as one
serial). Its serials are a number with a letter behind it and no prefix; that such a word in a head is a
serial was mended since, and nothing else: 37 right, 12 refused.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import score_sheets as score  # noqa: E402

RIGHT, REFUSED, MISREAD = 37, 12, 1


def test_as_many_layouts_of_the_fifth_stranger_are_read_as_were_once() -> None:
    plan, day = score.planned(HERE)
    told = {case["file"]: score.layout_outcome(HERE, case, plan, day) for case in score.read_layouts(HERE)}
    seen = Counter(said.split(":")[0].split(" ")[0] for said in told.values())
    assert len(told) == 50
    assert seen["right"] >= RIGHT, {file: said for file, said in told.items() if said != "right"}
    assert seen["refused"] <= REFUSED and seen["misread"] <= MISREAD
