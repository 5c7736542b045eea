"""Nested readings of a piece become one figure: the station pattern is taken off first.

Four readings along one leg are not four independent samples of the process: every piece repeats the same form
(a tube is tighter at the crook, a bell thinner at the flare). The two-way fit

    reading[piece, cell] = piece + cell + rest,   cells summing to zero,

gives each piece a figure that does not depend on which of its cells were read, and a `rest` whose spread is
the within-piece component. Piece means carry the between-piece component. The two have different owners, so
both are reported.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.stats import Floats, Integers

HALF = 0.5
"""A piece with under half of the cells gives no point (house rule)."""


@dataclass(frozen=True, slots=True)
class Nested:
    """The two-way fit.

    Attributes
    ----------
    piece : float array, length pieces
        Level of each piece, free of the station pattern; NaN where too few cells were read. [unit]
    cell : float array, length cells
        Station pattern, mean zero. [unit]
    readings : int array, length pieces
        Cells read on each piece.
    spread : float array, length pieces
        Standard deviation of a piece's readings about the fit, n - 1; NaN below two. [unit]
    within : float or None
        Pooled within-piece standard deviation with the fit's own degrees of freedom; None without any. [unit]
    between : float or None
        Standard deviation between pieces with the within part taken off, floored at 0. [unit]
    """

    piece: Floats
    cell: Floats
    readings: Integers
    spread: Floats
    within: float | None
    between: float | None


def fit_nested(piece: Integers, cell: Integers, value: Floats, *, rounds: int = 200) -> Nested:
    """Fit piece levels and the station pattern by least squares.

    Parameters
    ----------
    piece, cell : int arrays, length n
        0-based codes of the piece and of the place read; repeats of a cell count as further readings.
    value : float array, length n
        Readings, no NaN. [unit]
    rounds : int
        Upper bound on the alternating steps; balanced cards need one.

    Returns
    -------
    Nested

    Notes
    -----
    Alternating least squares for the additive two-way layout converges to the least-squares fit, whatever
    cells are missing, as long as pieces and cells hang together.

    References
    ----------
    .. [1] H. Scheffe, "The Analysis of Variance", 1959, section 4.4 (two-way layout with unequal numbers);
           from memory. Checked in the tests against a dense least-squares solution.

    Examples
    --------
    >>> fit = fit_nested(np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1]), np.array([1.0, 3.0, 2.0, 4.0]))
    >>> fit.piece.tolist(), fit.cell.tolist()
    ([2.0, 3.0], [-1.0, 1.0])
    """
    pieces, cells = int(piece.max()) + 1, int(cell.max()) + 1
    in_piece, in_cell = np.bincount(piece, minlength=pieces), np.bincount(cell, minlength=cells)
    pattern, level = np.zeros(cells), np.zeros(pieces)
    for _ in range(rounds):
        level = np.bincount(piece, value - pattern[cell], pieces) / np.maximum(in_piece, 1)
        fresh = np.bincount(cell, value - level[piece], cells) / np.maximum(in_cell, 1)
        fresh -= fresh.mean()
        moved = float(np.abs(fresh - pattern).max())
        pattern = fresh
        if moved <= 1e-12 * max(1.0, float(np.abs(value).max())):
            break
    level = np.bincount(piece, value - pattern[cell], pieces) / np.maximum(in_piece, 1)
    whole = _evenly_read(piece, cell, pieces, cells)
    # the pattern sums to nought, so such a piece lies at its own mean: taken without the pattern, it stays
    # the same to the last bit when other pieces come, and what was judged before can be gone on from
    level[whole] = (np.bincount(piece, value, pieces) / np.maximum(in_piece, 1))[whole]
    rest = value - level[piece] - pattern[cell]
    squares = np.bincount(piece, rest**2, pieces)
    spread = np.full(pieces, np.nan)
    np.sqrt(squares / np.maximum(in_piece - 1, 1), out=spread, where=in_piece > 1)
    freedom = value.size - pieces - cells + 1
    within = float(np.sqrt(squares.sum() / freedom)) if freedom > 0 else None
    read = _cells_read(piece, cell, pieces, cells)
    enough = read >= HALF * cells
    return Nested(
        piece=np.where(enough, level, np.nan),
        cell=pattern,
        readings=in_piece,
        spread=spread,
        within=within,
        between=_between(level[enough], in_piece[enough], within),
    )


def _cells_read(piece: Integers, cell: Integers, pieces: int, cells: int) -> Integers:
    seen = np.zeros((pieces, cells), dtype=bool)
    seen[piece, cell] = True
    return np.asarray(seen.sum(axis=1), dtype=np.int64)


def _evenly_read(piece: Integers, cell: Integers, pieces: int, cells: int) -> NDArray[np.bool_]:
    """Say which pieces were read at every cell, and equally often at each."""
    times = np.bincount(piece * cells + cell, minlength=pieces * cells).reshape(pieces, cells)
    return np.asarray((times[:, :1] > 0).all(axis=1) & (times == times[:, :1]).all(axis=1))


def _between(level: Floats, readings: Integers, within: float | None) -> float | None:
    if level.size < 2:
        return None
    variance = float(level.var(ddof=1))
    if within is not None:
        variance -= within**2 * float(np.mean(1.0 / readings))
    return float(np.sqrt(max(variance, 0.0)))
