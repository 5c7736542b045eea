"""A column that was worked out from those beside it: told by working it out again, not by its name."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from itertools import combinations, permutations

from qc.ingest.cells import is_worked_out_heading, plain, read_decimal

FEWEST_ROWS = 2
"""So many rows have to agree where the heading does not say that it was worked out; chosen: one is chance."""

MOST_COLUMNS = 12
"""Among more columns some two differ by anything; chosen."""

SCALES = (1.0, 1000.0, 0.001)
"""A difference in millimetres may be written in micrometres, and the other way round."""

_DIFFERENCE = re.compile(
    r"diff|differenz|abw|abweichung|deviation|difference|delta|δ|spiel|gap|play|clearance|half|spread|max|min|range|[-–−]"
)
_SIGNS = re.compile(r"^[^\d+-]*")

Way = Callable[[Sequence[float]], float]
_OF_ALL: tuple[Way, ...] = (
    lambda values: sum(values) / len(values),
    lambda values: max(values) - min(values),
    sum,
    max,
    min,
    lambda values: sorted(values)[len(values) // 2],
)
_OF_TWO: tuple[Way, ...] = (
    lambda pair: pair[0] - pair[1],
    lambda pair: (pair[0] - pair[1]) / 2,
)


def is_derived(label: str, texts: Sequence[str], others: Sequence[Sequence[str]]) -> bool:
    """Tell whether a column of figures is the mean, sum, range or difference of columns beside it.

    Parameters
    ----------
    label : str
        What stands over it.
    texts : sequence of str
        Its cells.
    others : sequence of sequence of str
        The cells of the columns of figures beside it.

    Examples
    --------
    >>> is_derived("Diff.", ["151", "146"], [["13,902", "13,899"], ["14,053", "14,045"]])
    True
    >>> is_derived("Depth", ["151", "147"], [["13,902", "13,899"], ["14,053", "14,045"]])
    False
    >>> is_derived("x", ["14,3", "13,5"], [["14,0", "13,2"], ["14,6", "13,5"], ["14,3", "13,8"]])
    True
    """
    own = [_number(text) for text in texts]
    columns = [[_number(text) for text in column] for column in others if any(map(_number_or_none, column))]
    said = bool(_DIFFERENCE.search(plain(label))) or is_worked_out_heading(label)
    wanted = 1 if said else FEWEST_ROWS
    if not 1 < len(columns) <= MOST_COLUMNS:
        return False
    rounded = [_half_step(text) for text in texts]
    ways: list[tuple[Way, tuple[int, ...]]] = [(way, tuple(range(len(columns)))) for way in _OF_ALL]
    ways += [(way, pair) for way in _OF_TWO for pair in permutations(range(len(columns)), 2)]
    ways += [(_OF_ALL[0], pair) for pair in combinations(range(len(columns)), 2)]
    return any(_agrees(own, rounded, columns, way, at, scale, wanted) for way, at in ways for scale in SCALES)


def _agrees(
    own: Sequence[float | None],
    rounded: Sequence[float],
    columns: Sequence[Sequence[float | None]],
    way: Way,
    at: Sequence[int],
    scale: float,
    wanted: int,
) -> bool:
    """Tell whether every row that has all figures agrees, and that these are enough and not all nothing."""
    met = 0
    told = False
    for row, value in enumerate(own):
        if value is None:
            continue
        parts = [columns[n][row] if row < len(columns[n]) else None for n in at]
        if any(part is None for part in parts):
            return False
        worked = way([part for part in parts if part is not None]) * scale
        if abs(worked - value) > rounded[row] * 1.001 + 1e-9:
            return False
        met += 1
        told = told or value != 0
    return told and met >= wanted


def _number(text: str) -> float | None:
    return read_decimal(_SIGNS.sub("", text.strip())) if text.strip() else None


def _number_or_none(text: str) -> bool:
    return _number(text) is not None


def _half_step(text: str) -> float:
    """Return half of the last digit that was typed: so much may be rounded away."""
    figure = re.sub(r"[^\d.,]", "", text).replace(",", ".")
    places = len(figure.rpartition(".")[2]) if "." in figure else 0
    return 0.51 * float(10**-places)


_SHOT = re.compile(
    r"^(?:(?:shot|reading|messung|measurement|schuss|wert|value|read|nr|no|m|x|n|#)\.?\s*)?(?P<n>[1-9])(?:\.|st|nd|rd|th)?$"
)


def shots(labels: Sequence[str]) -> dict[int, int]:
    """Return which headings count readings at one place, by their column: ``Shot 1``, ``2nd``, ``M3``.

    Empty where they do not count up from one, two at least.

    Examples
    --------
    >>> shots(["Area", "Shot 1", "Shot 2"]), shots(["1st", "3rd"])
    ({1: 1, 2: 2}, {})
    """
    found = {n: int(m["n"]) for n, text in enumerate(labels) if (m := _SHOT.match(plain(text))) is not None}
    return found if len(found) > 1 and list(found.values()) == list(range(1, len(found) + 1)) else {}
