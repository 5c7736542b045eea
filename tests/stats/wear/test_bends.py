"""The bend of a line after every piece: against plain least squares, its threshold against other draws."""

import numpy as np
import pytest
from scipy import integrate, stats

from qc.stats import recursive_residuals
from qc.stats.wear.bends import CROSSINGS, LINE_SIDE, RAMP_SIDE, SHORTEST_LINE, bend_scores, bend_threshold

COUNT = np.cumsum(np.random.default_rng(71).integers(1, 4, 30)).astype(float)


def plain_score(count, value, least=0.0):
    """Refit the line and every ramp by least squares."""
    n = count.size
    line = np.stack([np.ones(n), count], axis=1)
    whole = np.linalg.lstsq(line, value, rcond=None)[1][0]
    best = 0.0
    for knot in range(LINE_SIDE - 1, n - RAMP_SIDE):
        ramp = np.maximum(count - count[knot], 0)
        left = np.linalg.lstsq(np.column_stack([line, ramp]), value, rcond=None)[1][0]
        best = max(best, whole - left)
    alone = recursive_residuals(count, value)[-1] ** 2
    within = max(whole - best, least * (n - 3))
    t = (best / within * (n - 3)) ** 0.5
    return stats.norm.isf(stats.t.sf(t, n - 3)) if best > alone else 0.0


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("least", [0.0, 2.0])
def test_agrees_with_refitting_the_line_and_every_ramp(seed, least):
    value = 0.3 * COUNT + np.random.default_rng(seed).normal(0, 1, 30)
    value[20:] += 0.2 * np.arange(1, 11) * (seed % 2)
    scores = bend_scores(COUNT, value[None, :], least)[0]
    for n in (SHORTEST_LINE, 12, 23, 30):
        assert scores[n - 1] == pytest.approx(plain_score(COUNT[:n], value[:n], least), abs=1e-8)
    assert not scores[: SHORTEST_LINE - 1].any()


def test_rows_are_judged_as_alone(rng):
    values = rng.normal(0, 1, (5, 30))
    assert bend_scores(COUNT, values)[3] == pytest.approx(bend_scores(COUNT, values[3:4])[0])


def test_one_piece_apart_is_no_bend(rng):
    value = 0.3 * COUNT + rng.normal(0, 0.1, 30)
    value[-1] += 5
    assert bend_scores(COUNT, value[None, :])[0, -1] == 0


def test_a_perfect_line_and_a_count_that_stands_still_are_borne(rng):
    assert bend_scores(COUNT, (0.5 * COUNT)[None, :]).max() < 3
    assert not bend_scores(np.zeros(12), rng.normal(0, 1, (1, 12))).any()
    assert not bend_scores(np.array([0.0] * 9 + [4.0]), rng.normal(0, 1, (1, 10))).any()


def test_an_origin_far_away_changes_nothing(rng):
    values = 0.3 * COUNT + rng.normal(0, 1, (2, 30))
    assert bend_scores(COUNT + 1e5, values + 1e4) == pytest.approx(bend_scores(COUNT, values), abs=1e-6)


@pytest.mark.parametrize("length", [20, 60])
def test_a_straight_line_first_crosses_the_threshold_at_the_rate_asked_for(length):
    rate, rows = 0.005, 3000
    scores = bend_scores(np.arange(float(length)), np.random.default_rng(length).normal(0, 1, (rows, length)))
    over = scores > bend_threshold(rate)
    raised = over.any(axis=1).sum()
    # each row is at risk until it crosses
    at_risk = np.where(over.any(axis=1), over.argmax(axis=1) + 1, length).sum() - rows * (SHORTEST_LINE - 1)
    ratio = raised / at_risk / rate
    assert 0.75 < ratio < 1.3


def test_threshold_solves_its_own_formula():
    z = bend_threshold(0.0004)
    assert CROSSINGS * z * stats.norm.pdf(z) == pytest.approx(0.0004, rel=1e-6)
    tail = integrate.quad(lambda u: (u * u - 1) * stats.norm.pdf(u), z, 40)[0]
    assert z * stats.norm.pdf(z) == pytest.approx(tail, rel=1e-6)
    assert bend_threshold(1e-6) > bend_threshold(1e-3) > bend_threshold(2e-2)
