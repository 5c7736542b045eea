"""Publish what changes of each kind are told as some pieces after they began, and whether under one signal.

    python tests/simulation/kind_rates.py --table docs/reference/watch.md

Everything goes through the course of a series, as an upload does. Changes begin after 50 steady pieces at a
rate of 0.001; told are series in which something is raised after that, as what its first finding says, a
lasting change of the spread or a climb before all others. Several: more than one change of the level is told.
One standard error of a share is at most 0.05.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

import numpy as np
from publishing import markdown, publish_from_words
from standing_rates import found

from qc.stats import DetectorSignal, detect_many
from qc.watch.changes import FoundChange

SEED, RATE, BEFORE, LONGEST = 9611, 0.001, 50, 60
SERIES = 120  # drawn for each row at a share of 1
Found = TypeVar("Found", DetectorSignal, FoundChange)
AGES = np.arange(1, LONGEST + 1)

Change = Callable[[np.ndarray], np.ndarray]  # pieces after the change, without and with it
CASES: list[tuple[str, Change, tuple[int, ...]]] = [
    ("spread doubled", lambda late: 2 * late, (5, 10, 20, 40)),
    ("one piece, 6 sigma", lambda late: late + 6.0 * (AGES == 1), (20,)),
    ("step of 1.5 sigma", lambda late: late + 1.5, (20, 40)),
    ("climb, 0.05 sigma a piece", lambda late: late + 0.05 * AGES, (40, 60)),
    ("climb, 0.1 sigma a piece", lambda late: late + 0.1 * AGES, (40, 60)),
    ("1 sigma and 1 more after 20", lambda late: late + 1.0 + (AGES > 20), (40, 60)),
    ("2 sigma and 2 more after 25", lambda late: late + 2.0 + 2.0 * (AGES > 25), (40, 60)),
]


def rows(share: float) -> Iterator[list[str]]:
    """Each case at each number of pieces since."""
    for number, (name, change, looks) in enumerate(CASES):
        random = np.random.default_rng([SEED, number])
        values = random.standard_normal((int(SERIES * share), BEFORE + LONGEST))
        values[:, BEFORE:] = change(values[:, BEFORE:])
        for look in looks:
            seen = list(values[:, : BEFORE + look])
            judged = detect_many(seen, false_alarm_rate=RATE)
            raised = [row for row, one in zip(seen, judged, strict=True) if _after(one.signals)]
            told = [own for own in (_after(found(row, RATE)) for row in raised) if own]
            kinds = [_told_as(own) for own in told]
            shares = {kind: kinds.count(kind) / len(kinds) for kind in sorted(set(kinds))}
            several = np.mean([sum(s.kind in {"shift", "trend"} for s in own) > 1 for own in told])
            said = ", ".join(
                f"{kind} {part:.2f}" for kind, part in sorted(shares.items(), key=lambda x: -x[1])
            )
            yield [name, str(look), f"{len(told) / len(seen):.2f}", said, f"{several:.2f}"]


def _after(signals: Sequence[Found]) -> list[Found]:
    return [s for s in signals if s.point > BEFORE]


def _told_as(own: list[FoundChange]) -> str:
    """The kind of what is told: of the spread, else a climb, else of the first finding."""
    lasting = {s.kind for s in own if s.ended is None}
    return next((kind for kind in ("spread", "trend") if kind in lasting), own[0].kind)


def tables(share: float) -> str:
    """Give the table as Markdown."""
    return markdown(["change", "pieces since", "told", "as", "several"], rows(share))


if __name__ == "__main__":
    publish_from_words(__doc__, tables, "kinds")
