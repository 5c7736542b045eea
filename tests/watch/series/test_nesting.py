import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.watch.series.nesting import fit_nested


def dense_solution(piece, cell, value):
    """Least squares with a dummy for every piece and cell, the cells' effects summing to zero."""
    pieces, cells = piece.max() + 1, cell.max() + 1
    design = np.zeros((value.size + 1, pieces + cells))
    design[np.arange(value.size), piece] = 1
    design[np.arange(value.size), pieces + cell] = 1
    design[-1, pieces:] = 1
    solution = np.linalg.lstsq(design, np.append(value, 0.0), rcond=None)[0]
    return solution[:pieces], solution[pieces:]


def simulated(rng, pieces=12, cells=6, missing=0.0):
    piece, cell = np.divmod(np.arange(pieces * cells), cells)
    kept = rng.random(piece.size) >= missing
    kept[cell == 0] = True  # every piece hangs together with the others
    value = 150 + 8 * rng.standard_normal(pieces)[piece] + 3.0 * cell + rng.standard_normal(piece.size)
    return piece[kept], cell[kept], value[kept]


@pytest.mark.parametrize("missing", [0.0, 0.3])
def test_agrees_with_dense_least_squares(missing):
    piece, cell, value = simulated(np.random.default_rng(3), missing=missing)
    fit = fit_nested(piece, cell, value)
    levels, pattern = dense_solution(piece, cell, value)
    known = ~np.isnan(fit.piece)
    assert fit.piece[known] == pytest.approx(levels[known], abs=1e-8)
    assert fit.cell == pytest.approx(pattern, abs=1e-8)


def test_balanced_card_gives_plain_piece_means():
    piece, cell, value = simulated(np.random.default_rng(4))
    means = [value[piece == p].mean() for p in range(12)]
    assert fit_nested(piece, cell, value).piece == pytest.approx(means, abs=1e-9)


def test_missing_station_does_not_shift_a_piece():
    """A piece without its tightest station must not look wide."""
    piece = np.array([0, 0, 0, 1, 1, 1, 2, 2])
    cell = np.array([0, 1, 2, 0, 1, 2, 0, 1])
    value = np.array([10.0, 20.0, 60.0, 10.0, 20.0, 60.0, 10.0, 20.0])
    assert fit_nested(piece, cell, value).piece == pytest.approx([30.0, 30.0, 30.0], abs=1e-6)


def test_under_half_of_the_places_gives_no_point():
    piece = np.array([0] * 4 + [1] * 4 + [2])
    cell = np.array([0, 1, 2, 3, 0, 1, 2, 3, 0])
    fit = fit_nested(piece, cell, np.arange(9.0))
    assert np.isnan(fit.piece[2]) and not np.isnan(fit.piece[:2]).any()
    assert fit.readings.tolist() == [4, 4, 1]


def test_components_are_recovered():
    """Between sd 8, within sd 1, from 400 simulated pieces (seed 5); standard error of 8 is about 0.28."""
    piece, cell, value = simulated(np.random.default_rng(5), pieces=400)
    fit = fit_nested(piece, cell, value)
    assert fit.within == pytest.approx(1.0, abs=0.05)
    assert fit.between == pytest.approx(8.0, abs=0.9)


def test_between_is_floored_at_zero():
    piece, cell = np.divmod(np.arange(8), 4)
    value = np.array([1.0, -1.0, 2.0, -2.0, -2.0, 2.0, -1.0, 1.0])
    assert fit_nested(piece, cell, value).between == 0.0


def test_one_cell_has_no_within_component():
    fit = fit_nested(np.arange(5), np.zeros(5, dtype=int), np.arange(5.0))
    assert fit.within is None
    assert fit.between == pytest.approx(np.arange(5.0).std(ddof=1))


@settings(max_examples=40, deadline=None)
@given(st.floats(-1e3, 1e3), st.floats(0.1, 10), st.integers(0, 1000))
def test_shift_and_scale(shift, scale, seed):
    piece, cell, value = simulated(np.random.default_rng(seed), missing=0.2)
    plain, moved = fit_nested(piece, cell, value), fit_nested(piece, cell, scale * value + shift)
    assert moved.piece == pytest.approx(scale * plain.piece + shift, rel=1e-6, abs=1e-6, nan_ok=True)
    assert moved.cell == pytest.approx(scale * plain.cell, rel=1e-5, abs=1e-6)


@given(st.integers(0, 2**32 - 1), st.integers(2, 12), st.integers(2, 6))
def test_a_piece_read_everywhere_stays_the_same_to_the_last_bit_when_others_come(seed, pieces, cells):
    """Else whatever was judged of the series before could not be gone on from."""
    piece, cell, value = simulated(np.random.default_rng(seed), pieces=pieces + 5, cells=cells, missing=0.2)
    before = piece < pieces
    first = fit_nested(piece[before], cell[before], value[before])
    later = fit_nested(piece, cell, value)
    whole = np.bincount(piece[before], minlength=pieces) == cells
    if first.cell.size == later.cell.size:
        assert np.array_equal(first.piece[whole], later.piece[:pieces][whole])
