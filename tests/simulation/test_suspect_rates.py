"""Few draws of what `suspect_rates.py` counts over many: the right one is told, and innocents seldom."""

import importlib.util
import sys
from pathlib import Path

import pytest

PROGRAM = Path(__file__).with_name("suspect_rates.py")
DRAWS, SEED = 40, 7


@pytest.fixture(scope="module")
def program():
    spec = importlib.util.spec_from_file_location("suspect_rates", PROGRAM)
    module = importlib.util.module_from_spec(spec)
    sys.modules["suspect_rates"] = module
    spec.loader.exec_module(module)
    return module


def at_most(share, of):
    """Three standard errors above a share: a true promise fails once in 740 draws."""
    return share * of + 3 * (share * (1 - share) * of) ** 0.5


@pytest.mark.parametrize("kind", ["nothing", "just raised"])
def test_innocents_are_seldom_named(program, kind):
    found = program.tried(kind, DRAWS, SEED)
    assert found["told"] > DRAWS / 2
    assert found["named"] <= at_most(0.1, found["told"])


@pytest.mark.parametrize("kind", ["person", "gauge", "batch", "tool"])
def test_who_is_named_where_the_start_informs_is_right(program, kind):
    found = program.tried(kind, DRAWS, SEED)
    wrong = found["named there"] - found["right there"]
    assert found["right there"] >= 3
    assert wrong <= at_most(0.1, found["named there"])
    assert found["denied"] == 0
    if kind in {
        "batch",
        "tool",
    }:  # told from the first piece with it, also where the readings alone say another
        assert found["begins right"] >= 0.9 * found["right"]
