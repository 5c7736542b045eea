"""Two people write at the same time: the end is that of one after the other, whoever was first."""

import random

import pytest
from fault_driver import Plan
from fault_server import copied, removed
from fault_shop import content
from fault_verbs import BY_NAME, OF_FILES
from fault_writers import PAIRS, Pair
from on_a_server import wanted

SEED = 20260514
TWO = [pair for pair in PAIRS if not (wanted() and OF_FILES & set(pair))]


@pytest.mark.slow
@pytest.mark.parametrize("names", TWO, ids=" and ".join)
def test_at_once_is_as_one_after_the_other(killing, names):
    assert Pair(killing, *names).at_once(random.Random(f"{SEED} {names}")) == []


@pytest.mark.slow
def test_of_three_closes_at_once_one_is_kept_and_the_others_are_told_why(killing):
    """Three benches see one signal and close it in the same moment."""
    verb = BY_NAME["close"]
    shop = copied(killing.unkilled(verb).start, killing.folder / "three at once")
    runs = killing.driver.together(*(Plan(verb.typed(shop, killing.bench)) for _ in range(3)))
    kept = content(shop)["said"]
    verified = killing.driver.run("verify", "--workshop", str(shop))
    removed(shop)
    assert sorted(run.code for run in runs) == [0, 1, 1]
    for run in runs:
        assert ("is closed already. Reopen it first" in run.err) == (run.code == 1)
    assert len(kept) == 1 and '"what": "closed"' in kept[0]
    assert verified.code == 0, verified.out
