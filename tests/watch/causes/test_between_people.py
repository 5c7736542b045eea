"""Who differs from the others while nothing changed: told once a series, quietly, and seldom by chance."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from qc.watch import people_apart
from tests.simulation.people_rates import drawn, verdict


def of(values, people, gauges=None, stage="lacquer"):
    """Return one series of these pieces."""
    plain = drawn(np.random.default_rng(1), "independent")[0].points
    points = tuple(
        replace(point, value=float(value), measured=float(value), person=person, gauge=gauge)
        for point, value, person, gauge in zip(
            plain, values, people, gauges or ["EC-1"] * len(people), strict=False
        )
    )
    return verdict(stage, points)


@pytest.fixture
def by_turns(rng):
    people = ["NE" if n % 3 == 0 else "RK" for n in range(60)]
    values = [15.0 - 2.5 * (person == "NE") + rng.normal() for person in people]
    return values, people


def test_who_differs_is_told_with_an_interval_and_what_would_tell_why(by_turns):
    (found,) = people_apart([of(*by_turns)])
    assert found.person == "NE" and found.found.own == 20
    assert "pieces with NE on the card come out" in found.told and "lower than those with RK" in found.told
    assert "(20 and 40 pieces since S-0)" in found.told and "let both read the same pieces" in found.told
    assert "alone reads with" not in found.told and found.sentence.startswith("lacquer: Wall: ")
    plain = found.to_dict()
    assert plain["interval"][0] < plain["difference"] < plain["interval"][1] < 0 and plain["pieces"] == [
        20,
        40,
    ]


def test_who_begins_to_differ_after_a_year_like_the_others_is_told_by_the_newest_pieces(rng):
    people = ["NE" if n % 3 == 0 else "RK" for n in range(140)]
    values = [15.0 - 2.3 * (person == "NE") * (n >= 108) + rng.normal() for n, person in enumerate(people)]
    (found,) = people_apart([of(values, people)])
    assert found.since == "S-104" and found.found.n == 36 and "lower than those with RK" in found.told


def test_a_gauge_that_nobody_else_reads_with_is_named(by_turns):
    gauges = ["EC-2" if person == "NE" else "EC-1" for person in by_turns[1]]
    (found,) = people_apart([of(*by_turns, gauges)])
    assert "NE alone reads with EC-2." in found.told and found.to_dict()["gauge"] == "EC-2"


def test_of_two_who_differ_one_is_named_and_of_more_the_clearest(rng, by_turns):
    people = [("NE", "RK", "AB")[n % 3] for n in range(60)]
    values = [3.0 * (person == "NE") + rng.normal() for person in people]
    (found,) = people_apart([of(values, people)])
    assert found.person == "NE" and found.others == "AB and RK" and "higher" in found.told


def test_what_is_left_out_odd_too_old_or_signed_by_two_takes_no_part(by_turns):
    series = of(*by_turns)
    left = tuple(replace(p, left_out=p.person == "NE") for p in series.points)
    two = tuple(replace(p, person="NE + RK" if p.person == "NE" else p.person) for p in series.points)
    old = tuple(replace(p, day=p.day - timedelta(days=900)) if p.ordinal < 55 else p for p in series.points)
    for points in (left, two, old, ()):
        assert people_apart([replace(series, points=points)]) == ()
    assert people_apart([replace(series, kind="count")]) == ()
    assert people_apart([series], series.points[15].day) == ()


def test_the_more_is_looked_at_the_clearer_it_has_to_be(rng):
    people = [("NE", "RK")[n % 2] for n in range(60)]
    values = [1.6 * (person == "NE") + rng.normal() for person in people]
    others = [of(rng.normal(size=60), people, stage=f"other {n}") for n in range(40)]
    (alone,) = people_apart([of(values, people)])
    beside = [one for one in people_apart([of(values, people), *others]) if one.series == alone.series]
    assert all(one.p_value > alone.p_value for one in beside)
    assert all(np.ptp(one.found.interval) > np.ptp(alone.found.interval) for one in beside)


def test_people_who_differ_in_nothing_are_seldom_told():
    """Forty workshops at 1 % each: four or more of them come one time in 1,500 (binomial)."""
    rng = np.random.default_rng(20)
    told = sum(
        bool(people_apart(drawn(rng, shape))) for shape in ("independent", "lots of five") for _ in range(20)
    )
    assert told <= 3
