"""What other figures say of one: a known truth simulated, the fit by a second route, refusals."""

import numpy as np
import pytest

from qc.stats import StatisticsError, explained_share
from qc.stats.samples.explained import _standard, foretold

TIMES = 60


def drawn(rng, truth, n, p):
    """Return a figure of which the first of some others says a known share."""
    beside = rng.normal(size=(n, p))
    figure = beside[:, 0] * truth**0.5 + rng.normal(size=n) * (1 - truth) ** 0.5
    return explained_share(figure, beside)


def test_where_nothing_is_to_be_said_nothing_is_claimed(rng):
    found = [drawn(rng, 0.0, 60, 10) for _ in range(TIMES)]
    assert np.mean([one.share for one in found]) < 0.03
    # the plain fit claims figures / (pieces - 1) of pure noise: exact for normal figures (beta distribution)
    assert np.mean([one.raw for one in found]) == pytest.approx(10 / 59, abs=0.03)


@pytest.mark.parametrize("truth", [0.5, 0.9])
def test_a_known_share_is_found_within_its_error(rng, truth):
    found = [drawn(rng, truth, 80, 3) for _ in range(TIMES)]
    shares = np.array([one.share for one in found])
    assert truth - 0.08 < shares.mean() < truth + 0.01  # foretold from fewer pieces, never more than is there
    assert shares.std() == pytest.approx(np.mean([one.error for one in found]), rel=0.5)


def test_ridge_agrees_with_least_squares_on_augmented_data(rng):
    x, y, penalty = rng.normal(3.0, 2.0, size=(30, 4)), rng.normal(size=30), 2.5
    scaled = (x - x.mean(axis=0)) / x.std(axis=0)
    rows = np.vstack([scaled, np.sqrt(penalty) * np.eye(4)])
    weights = np.linalg.lstsq(rows, np.concatenate([y - y.mean(), np.zeros(4)]), rcond=None)[0]
    asked = rng.normal(3.0, 2.0, size=(5, 4))
    expected = y.mean() + (asked - x.mean(axis=0)) / x.std(axis=0) @ weights
    np.testing.assert_allclose(foretold(y, x, asked, penalty), expected, rtol=1e-9)


def test_units_make_no_difference(rng):
    x = rng.normal(size=(40, 2))
    y = x[:, 0] + rng.normal(size=40)
    one, other = explained_share(y, x), explained_share(1000 * y - 5, x * [0.001, 7.0] + [2.0, -9.0])
    assert (one.share, one.raw) == pytest.approx((other.share, other.raw), rel=1e-6)


def test_a_piece_that_lacks_a_figure_takes_part_with_its_mean(rng):
    by = np.array([[1.0, 5.0], [3.0, np.nan], [np.nan, 7.0]])
    np.testing.assert_allclose(_standard(by, by), [[-1, -1], [1, 0], [0, 1]])
    x = rng.normal(size=(40, 1))
    y = x[:, 0] * 2
    x[3] = np.nan
    assert explained_share(y, x).share > 0.5


@pytest.mark.parametrize(
    "pieces, figures", [(19, 1), (40, 9), (40, 0)], ids=["few pieces", "many figures", "no figure"]
)
def test_too_little_to_go_by_is_refused(rng, pieces, figures):
    with pytest.raises(StatisticsError):
        explained_share(rng.normal(size=pieces), rng.normal(size=(pieces, figures)))


def test_a_figure_that_never_changes_is_refused(rng):
    with pytest.raises(StatisticsError, match="two different values"):
        explained_share(rng.normal(size=30), np.ones((30, 1)))
