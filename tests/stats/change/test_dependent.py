"""Lots and neighbours against generalised least squares written out with whole covariance matrices."""

import numpy as np
import pytest
from scipy import linalg

from qc.stats import Noise, climb_or_stairs, fit_kinds, place_level, place_spread
from qc.stats.change.dependent import (
    ROW,
    Dependence,
    Echo,
    LotPlaces,
    dependent_scan,
    lot_numbers,
    lots_innovations,
    step_by_lots,
)
from qc.stats.change.scan import LEVEL, TREND
from qc.stats.change.whitening import hanging

ECHO = Noise(echo=0.4, fade=0.7)
LOTS = Noise(lots=0.35)
BOTH = Noise(lots=0.35, echo=0.2, fade=0.5)
WORDS = list("aabbbcab") + [None, None] + list("ddddeeb")


def covariance(noise, words):
    """The whole matrix, element by element."""
    n = len(words)
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    near = np.where(apart == 0, 1.0, noise.echo * noise.fade**apart)
    same = np.array([[a is not None and a == b for b in words] for a in words])
    return np.where(apart == 0, 1.0, noise.lots * same) if noise.lots else near


def lots_of(words):
    places = LotPlaces(1, len(words))
    for column, number in enumerate(lot_numbers(words, len(words))):
        places.place(column, ROW, np.array([number]))
    return places.take(ROW, len(words))


def squared_t(values, inverse, column):
    """Of one regressor beside a level, by the textbook."""
    design = np.column_stack([np.ones(values.size), column])
    middle = linalg.inv(design.T @ inverse @ design)
    beta = middle @ design.T @ inverse @ values
    rest = values - design @ beta
    variance = rest @ inverse @ rest / (values.size - 2)
    return beta[1] ** 2 / (variance * middle[1, 1])


@pytest.fixture
def values():
    return np.random.default_rng(4).standard_normal(len(WORDS)) + 50


def test_the_t_of_a_step_among_lots_is_that_of_generalised_least_squares(values):
    rho = np.array([[LOTS.lots]])
    step = step_by_lots((values - 50)[None, :], rho, lots_of(WORDS))
    inverse = linalg.inv(covariance(LOTS, WORDS))
    n = values.size
    for split in range(1, n):
        between, whole = step.between[0, split - 1], step.whole[0, 0]
        expected = squared_t(values, inverse, np.arange(n) >= split)
        assert between / (whole - between) * (n - 2) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("noise", [LOTS, ECHO])
def test_innovations_are_those_of_the_whole_covariance(noise, values):
    """The inverse of the Cholesky factor forecasts each piece from those before it; here in units of all."""
    matrix = covariance(noise, WORDS)
    expected = linalg.solve_triangular(np.linalg.cholesky(matrix), values - 50, lower=True)
    own = (values - 50)[None, :]
    if noise is LOTS:
        found = lots_innovations(own, np.array([[noise.lots]]), lots_of(WORDS))
    else:
        found = Echo(Dependence.of([noise]), 40).innovations(own, ROW)
    assert found[0] == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_the_factor_of_neighbours_is_the_variance_of_two_means_and_what_is_left_within():
    n = 23
    matrix = covariance(ECHO, [None] * n)
    factor = Echo(Dependence.of([ECHO]), 30).factor(ROW, n)[0]
    for split in range(1, n):
        mean = np.where(np.arange(n) < split, -1 / split, 1 / (n - split))
        # squares expected within: the trace of the covariance about both means
        about = np.eye(n)
        about[:split, :split] -= 1 / split
        about[split:, split:] -= 1 / (n - split)
        within = max(np.trace(about @ matrix), 0.3 * (n - 2))
        expected = (1 / split + 1 / (n - split)) * within / (n - 2) / (mean @ matrix @ mean)
        assert factor[split - 1] == pytest.approx(expected, rel=1e-9)


def test_without_dependence_nothing_is_changed(values):
    none = Dependence.of([Noise()])
    found, profile = dependent_scan(values[None, :], np.zeros(1), ROW, none, None, None, 1)
    again, other = dependent_scan(
        values[None, :], np.zeros(1), ROW, none, lots_of(WORDS), Echo(none, values.size), 1
    )
    assert profile == pytest.approx(other, rel=1e-9)
    assert found.statistic == pytest.approx(again.statistic, rel=1e-9)


@pytest.mark.parametrize("noise", [LOTS, ECHO])
@pytest.mark.parametrize("kind", [LEVEL, TREND])
def test_evidence_is_weighed_by_generalised_least_squares(noise, kind, values):
    inverse = linalg.inv(covariance(noise, WORDS))
    n = values.size
    whitening = hanging(noise, WORDS, n)
    share, weight = whitening.share(values, 0.0, kind)
    assert share.size == (n - 1 if kind == LEVEL else n - 5)
    ones = np.ones(n)
    for split in range(1, share.size + 1):
        ahead = np.arange(1, n + 1) - split
        column = (ahead > 0) * 1.0 if kind == LEVEL else np.maximum(ahead, 0) / (n - split)
        assert share[split - 1] * (n - 2) == pytest.approx(squared_t(values, inverse, column), rel=1e-8)
        across = ones @ inverse @ column
        expected = column @ inverse @ column - across**2 / (ones @ inverse @ ones)
        assert weight[split - 1] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("noise", [LOTS, ECHO, BOTH])
def test_regressors_do_not_depend_on_the_chunks_they_are_taken_in(noise, values, monkeypatch):
    whole = hanging(noise, WORDS, values.size).profiles(values)
    monkeypatch.setattr("qc.stats.change.whitening.CHUNK", 5)
    for kind, profile in hanging(noise, WORDS, values.size).profiles(values).items():
        assert profile.explained == pytest.approx(whole[kind].explained, rel=1e-9, abs=1e-12)
        assert profile.weight == pytest.approx(whole[kind].weight, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("noise", [LOTS, ECHO])
def test_kinds_are_fitted_by_generalised_least_squares(noise, values):
    """The best excursion and the best single among all, each fitted by the textbook."""
    inverse, n = linalg.inv(covariance(noise, WORDS)), values.size
    fits = fit_kinds(values, until=9, noise=noise, lots=WORDS)
    t_alone = [squared_t(values, inverse, np.arange(n) == place) for place in range(n)]
    assert fits["single"].start == int(np.argmax(t_alone)) + 1
    t_passing = {
        (begin, end): squared_t(values, inverse, (np.arange(n) >= begin) & (np.arange(n) < end))
        for begin in range(9)
        for end in range(9, n + 1)
        if end - begin < n
    }
    assert fits["passing"].start == max(t_passing, key=t_passing.get)[0] + 1
    gain = 0.5 * n * np.log1p(max(t_passing.values()) / (n - 2)) - 1.5 * np.log(n)
    assert fits["passing"].support - fits["steady"].support == pytest.approx(gain, rel=1e-6)


@pytest.mark.parametrize("noise", [LOTS, ECHO])
def test_two_steps_are_fitted_by_generalised_least_squares(noise, values):
    inverse, n = linalg.inv(covariance(noise, WORDS)), values.size
    places = np.arange(n)
    design = np.column_stack([np.ones(n), places >= 5, places >= 10])
    beta = linalg.solve(design.T @ inverse @ design, design.T @ inverse @ values)
    rest = values - design @ beta
    stairs = -0.5 * n * np.log(rest @ inverse @ rest / n) - 2 * np.log(n)
    climb = fit_kinds(values, noise=noise, lots=WORDS)["trend"].support
    assert climb_or_stairs(values, [6, 11], noise=noise, lots=WORDS) == pytest.approx(
        climb - stairs, rel=1e-6
    )


def test_lots_that_differ_are_no_change_of_level():
    """Five lots, each on a level of its own: independent pieces would show a step beyond doubt."""
    draw = np.random.default_rng(12)
    values = np.repeat(draw.standard_normal(5) * 3, 8) + 0.3 * draw.standard_normal(40)
    lots = [f"L{place // 8}" for place in range(40)]
    plain = fit_kinds(values)
    known = fit_kinds(values, noise=Noise(lots=0.95), lots=lots)
    assert plain["shift"].support - plain["steady"].support > 5
    assert known["shift"].support - known["steady"].support < 1
    alone = place_level(values, "shift").start_set
    together = place_level(values, "shift", noise=Noise(lots=0.95), lots=lots).start_set
    assert together[1] - together[0] > alone[1] - alone[0]


def test_a_spread_is_placed_on_what_pieces_add_to_their_forecast():
    draw = np.random.default_rng(2)
    values = 0.7 * np.repeat(draw.standard_normal(10), 6) + np.repeat([0.5, 2.0], 30) * draw.standard_normal(
        60
    )
    lots = [f"L{place // 6}" for place in range(60)]
    found = place_spread(values, noise=Noise(lots=0.3), lots=lots)
    assert found.start_set[0] <= 31 <= found.start_set[1]
