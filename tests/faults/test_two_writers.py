"""Two people write at the same time: the end is that of one after the other, whoever was first."""

import random

import pytest
from fault_writers import PAIRS, Pair

SEED = 20260514


@pytest.mark.slow
@pytest.mark.parametrize("names", PAIRS, ids=" and ".join)
def test_at_once_is_as_one_after_the_other(killing, names):
    assert Pair(killing, *names).at_once(random.Random(f"{SEED} {names}")) == []
