"""What hanging pieces are worth, against whole correlation matrices."""

import numpy as np
import pytest

from qc.stats import Noise, StatisticsError, effective_pieces
from qc.stats.capable import worth_of

LOTS = [str(number) for number in np.sort(np.random.default_rng(7).integers(0, 8, 37))]
LOTS[5] = None


def matrix(noise, lots, n):
    """Correlation of every pair, piece by piece, straight from the definition."""
    found = np.eye(n)
    for i in range(n):
        for j in range(n):
            if i != j:
                same = lots is not None and lots[i] is not None and lots[i] == lots[j]
                near = noise.echo * noise.fade ** abs(i - j)
                share = noise.lots if lots is not None else 0.0
                found[i, j] = share * same + (1 - share) * near
    return found


@pytest.mark.parametrize("lots", [LOTS, None], ids=["lots recorded", "none recorded"])
@pytest.mark.parametrize(
    "noise",
    [Noise(lots=0.3), Noise(echo=0.5, fade=0.6), Noise(lots=0.3, echo=0.4, fade=0.7), Noise()],
    ids=["lots", "neighbours", "both", "nothing"],
)
def test_worth_agrees_with_the_whole_matrix(noise, lots):
    n = 37
    whole = matrix(noise, lots, n)
    centred = np.eye(n) - 1 / n
    about = np.trace(centred @ whole)
    found = worth_of(noise, lots, n)
    assert found.mean_n == pytest.approx(n * n / whole.sum(), rel=1e-4)
    assert found.sd_df == pytest.approx(about**2 / np.trace(centred @ whole @ centred @ whole), rel=1e-4)
    assert found.spread == pytest.approx(np.sqrt((n - 1) / about), rel=1e-4)


def test_spread_and_freedom_agree_with_simulation():
    noise, n = Noise(echo=0.8, fade=0.7), 40
    root = np.linalg.cholesky(matrix(noise, None, n))
    variance = (np.random.default_rng(8).standard_normal((40_000, n)) @ root.T).var(axis=1, ddof=1)
    found = worth_of(noise, None, n)
    assert found.spread**2 * variance.mean() == pytest.approx(1.0, abs=0.01)
    assert found.sd_df == pytest.approx(2 * variance.mean() ** 2 / variance.var(), rel=0.03)


def test_pieces_of_one_lot_are_one_piece_where_lots_are_all():
    assert effective_pieces(Noise(lots=1.0), list("aabbcc"), 6) == pytest.approx(3.0)


def test_lots_that_do_not_fit_the_pieces_are_refused():
    with pytest.raises(StatisticsError, match="2 lots for 3 pieces"):
        effective_pieces(Noise(lots=0.2), ["a", "b"], 3)
