"""The cases of the third stranger come out as they were meant, and what was reached once is kept."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import score_sheets as score  # noqa: E402

SILENT = 4
"""Detectable slips that no doubt asks about; as counted before anything was changed for these cases."""


@pytest.mark.parametrize("case", score.read_layouts(HERE), ids=lambda case: case["file"])
def test_a_layout_of_the_third_stranger_is_read_as_it_was_meant(case: score.Case) -> None:
    assert score.layout_outcome(HERE, case, *score.planned(HERE)) == "right"


def test_slips_of_the_third_stranger_are_asked_about_and_true_cards_are_not(tmp_path: Path) -> None:
    outcomes, false = score.slip_outcomes(HERE, tmp_path)
    slips, _ = score.read_slips(HERE)
    seen = [outcomes[case["file"]] for case in slips if case["detectable"]]
    assert false == {}
    assert not [said for said in seen if said.startswith("wrong mend")]
    assert seen.count("silent") <= SILENT
