"""Publish what a mend costs in false reopenings, and how soon one that did not hold opens its signal anew.

    python tests/simulation/mend_rates.py --table docs/reference/watch.md

Everything goes through the course of a series, as an upload does. A series runs some pieces as it was, then
changes by so many spreads of a piece; a few pieces after the signal it is closed. *Mended, held*: the pieces
since are as before; how many false signals they raise, beside what was asked, and how many mends are given
the lie. *Mended, did not hold*: the pieces since are as under the cause; how many open the old signal anew,
and after how many pieces in the middle. *Stays or false*: nothing is split; how many false signals pieces of
the new level raise, and how often a return to the old level raises one. ± is one standard error.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from publishing import markdown, publish_from_words
from start_coverage import DAY, FIGURE

from qc.stats import detect
from qc.watch import Mend, SignalResult
from qc.watch.changes import FoundChange, LevelCourse
from qc.watch.results import Point

SEED = 13211
RATE = 0.004
SIZES = (1.5, 2.0, 3.0)
BEFORE = (15, 50)
IN_WORK = 3  # pieces made between the signal and the mend
SINCE = 30  # pieces looked at after the mend
WAITED = 40  # pieces in which the signal is waited for
DRAWN = 600  # series of each row at a share of 1


@dataclass(frozen=True)
class Closed:
    """A series up to its mend, and the mend."""

    values: np.ndarray
    mend: Mend


def course(values: np.ndarray, *mends: Mend) -> LevelCourse:
    """A series, a piece a day."""
    points = tuple(
        Point(i, f"S{i}", DAY + timedelta(days=i), "", float(v), float(v))
        for i, v in enumerate(values, start=1)
    )
    return LevelCourse(FIGURE, points, mends=mends)


def told(signal: FoundChange, points: tuple[Point, ...]) -> SignalResult:
    """A finding as a verdict tells it."""
    raised, first = points[signal.point - 1], points[signal.start - 1]
    return SignalResult(
        *(signal.kind, signal.side, signal.point, raised.serial, raised.day),
        *(signal.start, first.serial, first.day, signal.start_low, signal.start_high),
        *(signal.size, signal.size_low, signal.size_high, signal.size_sigma, "mm", RATE, 1),
    )


def mended(random: np.random.Generator, before: int, size: float) -> Closed | None:
    """Draw a series whose change raises a signal that is mended; None where it raises none, or one before."""
    values = random.standard_normal(before + WAITED)
    values[before:] += size
    found = detect(values, false_alarm_rate=RATE, shape=FIGURE.shape).signals
    first = next(iter(found), None)
    if first is None or first.point <= before or first.side != "above":
        return None
    end = min(first.point + IN_WORK, values.size)
    known = course(values[:end])
    signal = next((s for s in known.changes(RATE).signals if s.point == first.point), None)
    if signal is None:
        return None
    return Closed(values[:end], Mend(told(signal, known.points), 1, DAY + timedelta(days=end)))


def followed(start: Closed, after: np.ndarray, *mends: Mend) -> list[FoundChange]:
    """What is raised after the closing."""
    found = course(np.concatenate([start.values, after]), *mends).changes(RATE).signals
    return [s for s in found if s.point > start.values.size]


def raised_since(start: Closed, after: np.ndarray) -> list[str]:
    """The sides of what is raised after a closing that splits nothing."""
    values = np.concatenate([start.values, after])
    found = detect(values, false_alarm_rate=RATE, shape=FIGURE.shape).signals
    return [s.side for s in found if s.point > start.values.size]


def drawn(random: np.random.Generator, before: int, size: float, number: int) -> Iterator[Closed]:
    """Draw so many mended series."""
    count = 0
    while count < number:
        one = mended(random, before, size)
        if one is not None:
            count += 1
            yield one


def row(before: int, size: float, number: int) -> list[str]:
    """One row of the table."""
    random = np.random.default_rng([SEED, before, round(10 * size)])
    false, reopened, delays, stays, back = [], [], [], [], []
    for one in drawn(random, before, size, number):
        same, worse = random.standard_normal(SINCE), size + random.standard_normal(SINCE)
        good = followed(one, same, one.mend)
        false.append(100 * len(good) / SINCE)
        reopened.append(any(s.reopens for s in good))
        bad = [s for s in followed(one, worse, one.mend) if s.reopens]
        delays.append(bad[0].point - one.values.size if bad else math.inf)
        stays.append(100 * len(raised_since(one, worse)) / SINCE)
        back.append("below" in raised_since(one, same))
    return [
        f"{size:g} sigma after {before}",
        _mean(false),
        _share(reopened),
        _share([math.isfinite(delay) for delay in delays]),
        f"{np.median(delays):g}",
        _mean(stays),
        _share(back),
    ]


def _mean(figures: list[float]) -> str:
    return f"{np.mean(figures):.2f} ± {np.std(figures) / math.sqrt(len(figures)):.2f}"


def _share(hits: list[bool]) -> str:
    share = float(np.mean(hits))
    return f"{share:.3f} ± {math.sqrt(share * (1 - share) / len(hits)):.3f}"


def table(share: float) -> str:
    """The table as Markdown."""
    head = [
        "change",
        f"mended, held: false signals in 100 pieces (asked: {100 * RATE:g})",
        "opened anew",
        "mended, did not hold: opened anew",
        "after so many pieces",
        f"stays or false: false signals in 100 pieces of the new level (asked: {100 * RATE:g})",
        "a return raises a signal within 30 pieces",
    ]
    rows = (row(before, size, int(DRAWN * share)) for size in SIZES for before in BEFORE)
    return markdown(head, rows)


if __name__ == "__main__":
    publish_from_words(__doc__, table, "mends")
