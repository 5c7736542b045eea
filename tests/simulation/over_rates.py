"""Publish how soon a change that has passed is told as over, and how often one that lasts is told so wrongly.

    python tests/simulation/over_rates.py --table docs/reference/watch.md

Everything goes through the course of a series, as an upload does, and is looked at after each piece; what was
told as over keeps its end, as in a workshop. A series runs some pieces as it was, then changes by so many
spreads of a piece. *Passed*: after so many pieces it is as before; told of are those that were raised before
they had passed. *Lasts*: the change goes on. ± is one standard error.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from mend_rates import course, told
from publishing import markdown, publish_from_words

from qc.watch import SignalResult
from qc.watch.changes import FoundChange

SEED = 13221
RATE = 0.004
BEFORE = 30
SIZES = (2.0, 3.0, 4.0)
PASSED = (6, 15)
LOOKED = 40  # pieces looked at after the signal, or after the last piece that was away
DRAWN = 400  # series of each row at a share of 1


def looked_at(values: np.ndarray, first: int) -> Iterator[tuple[int, FoundChange | None]]:
    """Look at a series after each piece from one on; yields the first change raised since `BEFORE`."""
    kept: dict = {}
    over: tuple[SignalResult, ...] = ()
    for end in range(first, values.size + 1):
        here = replace(course(values[:end]), over=over)
        found = here.changes(RATE, kept)
        kept = dict(found.kept)
        own = next((s for s in found.signals if s.point > BEFORE and s.kind != "single"), None)
        ended = [s for s in found.signals if s.ended is not None and s.ended <= end]
        over = tuple(replace(told(s, here.points), over_since=here.points[s.ended - 1].serial) for s in ended)
        yield end, own


def passed(values: np.ndarray, away: int) -> float | None:
    """Pieces back until a change that passed is told as over; infinite where it is not; None: not raised."""
    last = BEFORE + away
    for end, own in looked_at(values, last):
        if end == last and (own is None or own.ended is not None):
            return None
        if own is None or own.ended is not None:
            return float(end - last)
    return math.inf


def lasts(values: np.ndarray) -> tuple[bool, bool] | None:
    """Whether a lasting change was told as over at some look, and at the last; None: not raised in time."""
    raised, over = 0, []
    for end, own in looked_at(values, BEFORE + 1):
        if own is not None and not raised:
            raised = end
        if raised:
            over.append(own is None or own.ended is not None)
        if raised and end == raised + LOOKED:
            break
    return (any(over), over[-1]) if len(over) > LOOKED else None


def rows(share: float) -> Iterator[list[str]]:
    """One row for each size."""
    number = int(DRAWN * share)
    for size in SIZES:
        row = [f"{size:g} sigma"]
        for away in PASSED:
            random = np.random.default_rng([SEED, away, round(10 * size)])
            values = random.standard_normal((number, BEFORE + away + LOOKED))
            values[:, BEFORE : BEFORE + away] += size
            delays = [one for one in (passed(row, away) for row in values) if one is not None]
            soon = [one <= 6 for one in delays]
            row += [f"{np.median(delays):g}", _share(soon), _share([one <= 20 for one in delays])]
        random = np.random.default_rng([SEED, round(10 * size)])
        values = random.standard_normal((number, BEFORE + 2 * LOOKED))
        values[:, BEFORE:] += size
        known = [one for one in map(lasts, values) if one is not None]
        yield [*row, _share([once for once, _ in known]), _share([last for _, last in known])]


def _share(hits: list[bool]) -> str:
    share = float(np.mean(hits))
    return f"{share:.3f} ± {math.sqrt(share * (1 - share) / len(hits)):.3f}"


def table(share: float) -> str:
    """The table as Markdown."""
    head = ["change"]
    for away in PASSED:
        head += [f"passed after {away}: told over after", "within 6 pieces", "within 20"]
    head += [f"lasts: told over at some look in {LOOKED} pieces", f"after {LOOKED} pieces"]
    return markdown(head, rows(share))


if __name__ == "__main__":
    publish_from_words(__doc__, table, "over")
