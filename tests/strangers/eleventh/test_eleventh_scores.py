"""Layouts of an eleventh and a twelfth stranger, 25 each, who had read the reference alone: none is misread.

Scored once, before anybody who mends the reader had looked at them: 24 of 50 right, 17 refused, 8 held, 1
misread. The misread one, an area that bears the word for a position, was mended; the rest is left as it was
found, for whoever widens the reader next.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import score_sheets as score  # noqa: E402

UNTUNED = {"right": 24, "refused": 17, "held": 8, "misread": 1}
RIGHT, REFUSED = 25, 17


def test_as_many_layouts_of_both_strangers_are_read_as_were_once_and_none_is_misread() -> None:
    seen: Counter[str] = Counter()
    others: dict[str, str] = {}
    for folder in (HERE, HERE.parent / "twelfth"):
        found, told = score.seen_layouts(folder)
        seen += found
        others |= told
    assert seen.total() == sum(UNTUNED.values()) == 50
    assert seen["right"] >= RIGHT > UNTUNED["right"], others
    assert seen["refused"] <= REFUSED and seen["misread"] == 0, others
