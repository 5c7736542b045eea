"""What is known of the scatter of a series, in figures and in words."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from qc.plan import Characteristic
from qc.stats import NORMAL, PRIOR, Noise
from qc.watch import scatter_notes
from qc.watch.scatter import effective_pieces, scatter_of

TODAY = date(2026, 6, 2)
LEVEL = Characteristic(id="x", name="X", unit="mm")
LEARNED = Noise(tails=0.02, odd_share=0.002, odd_reach=0.3, pieces=210, own=210)
MARCH, APRIL = date(2026, 3, 1), date(2026, 4, 1)


def asked(points, noise, *, figure=LEVEL, lots=(), periods=None, lots_by="", rate=0.004):
    own = points(np.linspace(1, 2, len(noise) or 8))
    periods = [MARCH] * len(noise) if periods is None else periods
    return scatter_of(figure, own, own, noise, lots, periods, lots_by, rate, TODAY)


def test_a_bell_curve_is_told_with_when_and_from_how_many(points):
    found = asked(points, [LEARNED] * 8)
    assert found.sentence == (
        "Readings of this figure scatter like the bell curve (learned since 1 Mar from 210 pieces): "
        "a single piece far from the rest is told."
    )
    assert (found.shape, found.since_day, found.counts_as, found.tells_single) == ("auto", MARCH, None, True)
    assert Noise.from_dict(found.noise) == LEARNED


def test_long_tails_leave_single_pieces_untold(points):
    heavy = replace(LEARNED, tails=0.25, odd_share=0.02, odd_reach=0.8, own=40)
    found = asked(points, [heavy] * 8)
    assert found.sentence == (
        "Readings of this figure have longer tails than the bell curve (learned since 1 Mar from 210 pieces, "
        "40 of them its own): a single odd piece is not told here, only a few together."
    )
    assert not found.tells_single


def test_of_few_pieces_long_tails_are_allowed_for_and_not_called_learned(points):
    """Normal figures of a new workshop were said to have longer tails, "learned from 22 pieces"."""
    few = replace(LEARNED, tails=0.25, odd_share=0.02, odd_reach=0.8, pieces=22, own=22)
    assert asked(points, [few] * 8).sentence == (
        "How readings of this figure scatter is little known yet (learned since 1 Mar from 22 pieces): until "
        "more is known, longer tails than the bell curve are allowed for, and a single odd piece is not told "
        "here, only a few together."
    )


def test_among_all_series_it_is_said_in_short_so_that_series_of_one_kind_are_told_alike(points):
    heavy = [replace(LEARNED, tails=0.25, odd_share=0.02, odd_reach=0.8, own=own) for own in (40, 60)]
    notes = {scatter_notes(asked(points, [one] * 8)) for one in heavy}
    assert notes == {
        (
            "Readings of this figure have longer tails than the bell curve: a single odd piece is not told "
            "here, only a few together.",
        )
    }
    assert scatter_notes(asked(points, [LEARNED] * 8)) == ()
    together = replace(asked(points, [LEARNED] * 8), counts_as=14)
    together = replace(
        together, sentence=f"{together.sentence} Pieces hang together: these 40 count as about 14."
    )
    assert scatter_notes(together) == ("Pieces hang together: these 40 count as about 14.",)


@pytest.mark.parametrize(("skew", "side"), [(0.4, "high"), (-0.4, "low")])
def test_a_lean_is_told_with_its_side(points, skew, side):
    assert f"lean to the {side} side (" in asked(points, [replace(LEARNED, skew=skew)] * 8).sentence


def test_the_shape_is_told_since_it_has_been_so(points):
    heavy = replace(LEARNED, tails=0.25)
    assert asked(points, [heavy] * 4 + [LEARNED] * 4, periods=[MARCH] * 4 + [APRIL] * 4).since_day == APRIL
    later = replace(LEARNED, pieces=300)
    assert asked(points, [LEARNED] * 4 + [later] * 4, periods=[MARCH] * 4 + [APRIL] * 4).since_day == MARCH


def test_before_anything_is_learned_that_is_said(points):
    assert "is not learned yet" in asked(points, []).sentence
    assert "is not learned yet" in asked(points, [PRIOR] * 8).sentence


def test_an_explicit_shape_rules_and_needs_no_words(points):
    found = asked(points, [LEARNED] * 8, figure=LEVEL.model_copy(update={"shape": "normal"}))
    assert (found.shape, found.sentence, found.tells_single) == ("normal", "", True)
    assert not asked(points, [LEARNED] * 8, figure=LEVEL.model_copy(update={"shape": "any"})).tells_single


def test_a_positive_shape_below_zero_is_judged_by_ranks(points):
    own = points(np.array([1.0, -1.0, 2.0]))
    figure = LEVEL.model_copy(update={"shape": "positive"})
    assert scatter_of(figure, own, own, (), (), (), "", 0.004, TODAY).shape == "any"


@pytest.mark.parametrize("more", [{"kind": "count"}, {"wears_with": "die"}])
def test_what_takes_no_part_has_none(points, more):
    assert asked(points, [], figure=LEVEL.model_copy(update=more)) is None


def test_pieces_of_one_batch_count_as_fewer(points):
    noise = replace(LEARNED, lots=0.5)
    lots = [f"B-{i // 8}" for i in range(40)]
    found = asked(points, [noise] * 40, lots=lots, lots_by="batch")
    assert found.counts_as is not None and 9 <= found.counts_as <= 13
    assert found.sentence.endswith(
        f"Pieces of one batch hang together: these 40 count as about {found.counts_as}."
    )
    alone = asked(points, [replace(LEARNED, echo=0.5, fade=0.7)] * 40)
    assert "Pieces made one after another hang together" in alone.sentence
    little = replace(noise, pieces=30)
    assert asked(points, [little] * 40, lots=lots, lots_by="batch").counts_as is None


@pytest.mark.parametrize("lots", [None, ["a"] * 5 + ["b"] * 3 + [None] * 4, ["a", "b"] * 6])
def test_effective_pieces_are_those_of_the_whole_covariance_matrix(lots):
    """The variance of a mean is the mean of its covariance matrix (any textbook)."""
    n, noise = 12, Noise(lots=0.3, echo=0.4, fade=0.6)
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    left = np.where(apart == 0, 1.0, noise.echo * noise.fade**apart)
    if lots is None:
        whole = left
    else:
        same = np.array(
            [[i == j or (a is not None and a == b) for j, b in enumerate(lots)] for i, a in enumerate(lots)]
        )
        whole = noise.lots * same + (1 - noise.lots) * left
    assert effective_pieces(noise, lots, n) == pytest.approx(1 / whole.mean())


def test_independent_pieces_count_as_themselves():
    assert effective_pieces(NORMAL, None, 17) == pytest.approx(17)


@pytest.mark.parametrize(("carried", "said"), [(0.0, False), (0.8, True)])
def test_neighbours_are_said_to_hang_together_where_these_pieces_show_it(points, carried, said):
    """124 independent masses were said to hang together since their sisters were unlike."""
    rng = np.random.default_rng(20261201)
    values = rng.normal(size=124)
    for at in range(1, values.size):
        values[at] += carried * values[at - 1]
    own = points(values)
    noise = [replace(LEARNED, echo=0.5, fade=0.8)] * values.size
    found = scatter_of(LEVEL, own, own, noise, (), [MARCH] * values.size, "", 0.004, TODAY)
    assert found.counts_as is not None and found.counts_as < 60
    together = f"hang together: these 124 count as about {found.counts_as}."
    assert found.sentence.endswith(f"Pieces made one after another {together}") is said
    assert found.sentence.endswith(f"these 124 count as about {found.counts_as}.")
    assert len(scatter_notes(found)) == 1
