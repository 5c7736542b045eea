"""A bad batch used by turns explains that a series scatters more, and a wider scatter of its own is told."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from qc.watch import SignalResult, levels_apart
from qc.watch.causes import without_explained
from tests.watch.causes.test_between_batches import WANTED, batches, of

DAY = date(2026, 3, 2)
WIDER = SignalResult("spread", "both", 30, "S-29", DAY, 21, "S-20", DAY, 15, 25, 2, 1, 3, 2, "mm", 0.004, 40)
SHIFT = replace(WIDER, kind="shift", side="above")


@pytest.fixture
def drawn():
    return np.random.default_rng(15132).standard_normal(60)


def left(values, borne, *signals):
    return without_explained(signals, of(values, batch=borne).points, "measured")


def test_more_scatter_by_a_batch_that_takes_turns_is_none(drawn):
    borne = batches(20)
    values = 50 + drawn + 5.0 * np.array([one == "K-2" for one in borne])
    assert levels_apart([of(values, batch=borne, **WANTED)]), "which is told by itself"
    assert left(values, borne, WIDER, SHIFT) == (SHIFT,)
    narrower = replace(WIDER, start=50, raised=58)
    assert left(values[:58], borne[:58], narrower) == ()
    assert left(values, ["K-1"] * 60, WIDER) == (WIDER,), "nothing on the cards explains it"


def test_a_wider_scatter_of_its_own_stays_told(drawn):
    borne = batches(20)
    drawn[20:] *= 3
    assert left(50 + drawn, borne, WIDER) == (WIDER,)
    with_batch = 50 + drawn + 5.0 * np.array([one == "K-2" for one in borne])
    assert left(with_batch, borne, WIDER) == (WIDER,), "the batch explains a part of it only"


def test_what_is_counted_has_no_level_of_its_own(drawn):
    borne = batches(20)
    values = 50 + drawn + 5.0 * np.array([one == "K-2" for one in borne])
    points = of(values, batch=borne).points
    assert without_explained([WIDER], points, "count") == (WIDER,)


def test_a_level_that_is_used_no_more_is_over(drawn):
    borne = batches(12)
    values = 50 + drawn + 5.0 * np.array([one == "K-2" for one in borne])
    (found,) = levels_apart([of(values, batch=borne, **WANTED)])
    assert (found.over_since, found.not_used) == ("S-43", 17)
    assert "It is over since S-43: 17 pieces since are of others." in found.told
    assert found.to_dict()["over_since_serial"] == "S-43"
    (still,) = levels_apart([of(values[:50], batch=borne[:50], **WANTED)])
    assert still.over_since == "" and "over since" not in still.told, "seven others may be a pause"
    paused = [one if n < 30 else "K-1" for n, one in enumerate(borne)]
    paused[52:60:2] = ["K-2"] * 4
    values = 50 + drawn + 5.0 * np.array([one == "K-2" for one in paused])
    told = levels_apart([of(values, batch=paused, **WANTED)])
    assert [one.over_since for one in told] == [""], "it came back after a longer pause"
