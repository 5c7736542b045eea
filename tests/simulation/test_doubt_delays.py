"""A true change is not held back by the doubts about sheets; the whole table: `doubt_delays.py`."""

import importlib.util
import math
import sys
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.slow


def program(name):
    """A program of this folder, as a module."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


for beside in ("publishing", "detector_rates"):  # which the program imports from beside it
    program(beside)
delays = program("doubt_delays")

SEED = 9732
SERIES, AFTER, LENGTH, SIZE = 12, 30, 75, 3.0


def drawn():
    z = np.random.default_rng(SEED).standard_normal((SERIES, LENGTH))
    z[:, AFTER:] += SIZE
    return np.round((delays.MIDDLE + delays.SIGMA * z) / delays.STEP) * delays.STEP


def test_no_delay_grows_by_more_than_half_a_piece_where_nobody_answers():
    values = drawn()
    held = delays.held_after(values, AFTER)
    every = np.arange(LENGTH)
    told = [
        (delays.told_after(every, v, AFTER), delays.told_after(every[~h], v, AFTER))
        for v, h in zip(values, held, strict=True)
    ]
    told = [(off, on) for off, on in told if math.isfinite(off)]
    assert len(told) >= SERIES - 3
    assert np.mean([on - off for off, on in told]) <= 0.5


def test_a_figure_of_ten_times_the_usual_is_held_and_so_not_seen():
    # the same question asked of a slip: were nothing ever held, the test above could not fail
    values = drawn()
    values[:, AFTER + 5] *= 10
    assert delays.held_after(values, AFTER)[:, AFTER + 5].all()


def test_a_held_piece_comes_in_behind_the_next():
    held = np.array([False, True, False, False, True])
    assert delays.a_piece_later(held).tolist() == [0, 2, 1, 3, 4]
