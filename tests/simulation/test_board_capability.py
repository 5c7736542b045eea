"""The board's interval of Ppk holds the truth, and `proven` is seldom false, in a few simulated workshops."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.slow

WORKSHOPS = 4
CHANCE = 3 * np.sqrt(0.07 * 0.93 / (WORKSHOPS * 20))  # three standard errors of a share of 7 %


def program():
    path = Path(__file__).with_name("board_capability.py")
    spec = importlib.util.spec_from_file_location("board_capability", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["board_capability"] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    "name", ["normal", "lognormal 0.5", "gamma 4", "t5", "neighbours 0.3", "lots 0.2, recorded"]
)
def test_the_interval_holds_the_truth_and_proven_is_seldom_false(name):
    made = program()
    rows = made.score(made.KINDS[name], 60, np.random.default_rng([41, len(name)]), workshops=WORKSHOPS)
    missed = rows[:, 0] + rows[:, 1]
    assert (missed < 0.07 + CHANCE).all()
    assert rows[made.TRUTHS.index(1.0), 2] < 0.05 + CHANCE  # wanted is 1.00: the nearest that is still false
    assert rows[made.TRUTHS.index(2.0), 2] > 0.5


@pytest.mark.parametrize("sides", ["upper", "both"])
def test_among_unlike_sisters_the_interval_holds_the_truth_too(sides):
    made = program()
    found, count = made.score_unlike(
        60, np.random.default_rng([43, len(sides)]), workshops=WORKSHOPS, sisters=20, sides=sides
    )
    missed = sum(rows[:, 0] + rows[:, 1] for rows in found.values()) / sum(count.values())
    assert (missed < 0.07 + CHANCE).all()
    falsely = sum(rows[made.TRUTHS.index(1.0), 2] for rows in found.values()) / sum(count.values())
    assert falsely < 0.05 + CHANCE
