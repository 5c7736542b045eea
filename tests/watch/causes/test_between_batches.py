"""A batch, tool or gauge used by turns that sits apart is told, and what only follows the others is not."""

from dataclasses import replace

import numpy as np
import pytest

from qc.watch import levels_apart
from tests.simulation.people_rates import drawn, verdict

WANTED = {"lower": 40.0, "upper": 60.0, "target": 50.0}


def of(values, stage="bow", lower=None, upper=None, target=None, **borne):
    """Return one series of these pieces."""
    plain = drawn(np.random.default_rng(1), "independent")[0].points
    points = []
    for n, value in enumerate(values):
        told = {kind: levels[n] for kind, levels in borne.items()}
        points.append(replace(plain[n], value=float(value), measured=float(value), person="", **told))
    return replace(verdict(stage, tuple(points)), lower=lower, upper=upper, target=target)


def batches(bad=12, n=60):
    """Return a good batch with which a bad one takes turns from the 21st piece on, one to one."""
    return ["K-2" if n >= 20 and (n - 20) % 2 == 0 and (n - 20) // 2 < bad else "K-1" for n in range(n)]


@pytest.fixture
def by_turns(rng):
    borne = batches()
    return [50.0 + 3.0 * (one == "K-2") + rng.normal() for one in borne], borne


def test_a_bad_batch_used_by_turns_is_told_with_its_pieces(by_turns):
    values, borne = by_turns
    (found,) = levels_apart([of(values, batch=borne, **WANTED)])
    assert (found.kind, found.name, found.others, found.found.own) == ("batch", "K-2", "K-1", 12)
    assert found.serials == tuple(f"S-{n}" for n in range(60) if borne[n] == "K-2") and found.bad
    low, high = found.found.interval
    assert 0 < low < found.found.difference < high
    assert (
        "pieces of batch K-2 come out" in found.told and "higher than those of K-1 made beside" in found.told
    )
    assert found.to_dict()["serials"] == list(found.serials)


@pytest.mark.parametrize(
    ("limits", "bad"),
    [
        (WANTED, True),
        ({**WANTED, "target": 54.0}, False),  # nearer to what is wanted
        ({"lower": 40.0}, False),
        ({"upper": 60.0}, True),
        ({}, False),
    ],
)
def test_only_what_leads_away_from_what_is_wanted_is_bad(by_turns, limits, bad):
    values, borne = by_turns
    (found,) = levels_apart([of(values, batch=borne, **limits)])
    assert found.bad is bad


@pytest.mark.parametrize("kind", ["tool", "gauge"])
def test_a_tool_or_a_gauge_used_by_turns_is_told_likewise(by_turns, kind):
    values, borne = by_turns
    (found,) = levels_apart([of(values, **{kind: borne}, **WANTED)])
    assert (found.kind, found.name) == (kind, "K-2")


def test_what_is_used_in_a_row_is_left_to_the_changes(rng):
    borne = ["K-1"] * 30 + ["K-2"] * 30
    values = [50.0 + 3.0 * (one == "K-2") + rng.normal() for one in borne]
    assert levels_apart([of(values, batch=borne, **WANTED)]) == ()


def test_a_step_that_both_share_accuses_neither(rng):
    borne = batches(20)
    values = [50.0 + 4.0 * (n >= 40) + rng.normal() for n in range(60)]
    assert levels_apart([of(values, batch=borne, **WANTED)]) == ()


def test_the_batch_of_a_part_and_that_of_an_earlier_stage_are_asked_about(by_turns):
    values, borne = by_turns
    later = of(values, **WANTED)
    parts = {"leadpipe": {f"S-{n}": one for n, one in enumerate(borne)}}
    (found,) = levels_apart([later], parts=parts)
    assert (found.name, found.role) == ("K-2", "leadpipe") and "batch K-2 (leadpipe)" in found.told
    rng = np.random.default_rng(15131)
    first = of(rng.normal(size=60), stage="pipe", batch=borne)
    (found,) = levels_apart([later, first], route=("pipe", "bow"))
    assert (found.series, found.name, found.role) == (str(later.key), "K-2", "pipe")
    assert levels_apart([later, first], route=("bow", "pipe")) == (), "what is made later is no cause"


def test_what_is_left_out_borne_twice_or_counted_takes_no_part(by_turns):
    values, borne = by_turns
    series = of(values, batch=borne, **WANTED)
    left = tuple(replace(p, left_out=p.batch == "K-2") for p in series.points)
    two = tuple(replace(p, batch="K-2 + K-1" if p.batch == "K-2" else p.batch) for p in series.points)
    for points in (left, two, ()):
        assert levels_apart([replace(series, points=points)]) == ()
    assert levels_apart([replace(series, kind="count")]) == ()
    assert levels_apart([series], series.points[30].day) == ()


def test_five_pieces_are_told_where_they_lie_far_enough_apart(rng):
    for bad, told in ((4, 0), (5, 1), (7, 1)):
        borne = batches(bad)
        values = [50.0 + 5.0 * (one == "K-2") + rng.normal() for one in borne]
        found = levels_apart([of(values, batch=borne, **WANTED)])
        assert len(found) == told and all(one.found.own == bad for one in found)
    borne = batches(5)
    alike = [50.0 + 0.5 * (one == "K-2") + rng.normal() for one in borne]
    assert levels_apart([of(alike, batch=borne, **WANTED)]) == ()
