"""A mend that held is given the lie within the budget, one that did not hold opens its signal anew soon."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

PROGRAM = Path(__file__).with_name("mend_rates.py")


@pytest.fixture(scope="module")
def mend_rates():
    sys.path.insert(0, str(PROGRAM.parent))  # its own helpers lie beside it
    try:
        spec = importlib.util.spec_from_file_location("mend_rates", PROGRAM)
        program = importlib.util.module_from_spec(spec)
        sys.modules[spec.name] = program  # its frozen records ask for their module
        spec.loader.exec_module(program)
    finally:
        sys.path.remove(str(PROGRAM.parent))
    return program


@pytest.fixture(scope="module")
def drawn(mend_rates):
    random = np.random.default_rng(131301)
    return random, list(mend_rates.drawn(random, 30, 2.5, 40))


def test_good_pieces_after_a_mend_raise_no_more_than_asked(mend_rates, drawn):
    random, series = drawn
    raised = [len(mend_rates.followed(one, random.standard_normal(20), one.mend)) for one in series]
    # 800 pieces at a rate of 0.004: about three by chance; over nine in one case of a thousand (Poisson)
    assert sum(raised) <= 9


def test_pieces_still_bad_open_the_signal_anew(mend_rates, drawn):
    random, series = drawn
    delays = []
    for one in series:
        found = mend_rates.followed(one, 2.5 + random.standard_normal(20), one.mend)
        again = [s.point - one.values.size for s in found if s.reopens]
        delays.append(again[0] if again else np.inf)
    assert np.mean(np.isfinite(delays)) >= 0.8
    assert np.median(delays) <= 8
