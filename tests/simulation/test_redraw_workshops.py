"""One workshop drawn anew goes through the whole pipeline; `redraw_workshops.py` scores ten of them."""

import importlib.util
import sys
from pathlib import Path

import pytest

PROGRAM = Path(__file__).parents[1] / "simulation" / "redraw_workshops.py"


def program():
    spec = importlib.util.spec_from_file_location("redraw_workshops", PROGRAM)
    module = importlib.util.module_from_spec(spec)
    sys.modules["redraw_workshops"] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.slow
def test_planted_changes_are_found_and_explained_in_a_workshop_drawn_anew(tmp_path):
    score = program().score_workshop(4, tmp_path)
    assert score.planted == 5
    assert score.located >= 4
    assert score.explained >= 4
    # a Poisson count about the budget lies below it plus three standard deviations
    assert score.false_signals <= score.allowed + 3 * score.allowed**0.5
    assert score.drifting_beside <= 4
    # the die's bend is placed by the same rule as the steps
    assert len(score.off) == 5 and abs(score.off["draw/tube_od/tenor"]) <= 2
