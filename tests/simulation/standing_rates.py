"""Publish how often an untouched series still drifts in the end, and a true change still stands.

    python tests/simulation/standing_rates.py --table docs/reference/watch.md

Everything goes through the course of a series, as an upload does. Untouched series hold 30 to 239 pieces and
are looked at where they end, as a workshop is on any day. Changed ones are looked at some pieces after the
first signal that follows the change; it stands while a change the right way is told as lasting. ± is one
standard error.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from publishing import markdown, publish_from_words
from start_coverage import DAY

from qc.plan import Characteristic
from qc.stats import detect_many
from qc.watch.changes import FoundChange, LevelCourse
from qc.watch.results import Point

SEED = 9511
FIGURE = Characteristic(id="x", name="X", unit="mm", shape="normal")  # as `detect_many` judges them
RATES = (0.0015, 0.004)
RUNS = (15, 20, 25, 30, 40)
LOOKS = (10, 20, 40, 80)
UNTOUCHED, CHANGED = 2000, 200  # series drawn for each row at a share of 1
FOLLOWED = 100  # points in which a signal is waited for


def found(values: np.ndarray, rate: float) -> tuple[FoundChange, ...]:
    """What the watch finds in a series."""
    points = tuple(Point(i, f"S{i}", DAY, "", float(v), float(v)) for i, v in enumerate(values, start=1))
    return LevelCourse(FIGURE, points).changes(rate).signals


def lasting(signals: tuple[FoundChange, ...]) -> list[FoundChange]:
    """Those that last."""
    return [s for s in signals if s.kind != "single" and s.ended is None]


def untouched_rows(share: float) -> Iterator[list[str]]:
    """How many untouched series drift in the end, by the length of the run that settles one."""
    for rate in RATES:
        random = np.random.default_rng([SEED, round(1e5 * rate)])
        series = [
            random.standard_normal(int(random.integers(30, 240))) for _ in range(int(UNTOUCHED * share))
        ]
        ages: list[float] = []
        for values, judged in zip(series, detect_many(series, false_alarm_rate=rate), strict=True):
            stand = lasting(found(values, rate)) if judged.signals else []
            climbs = any(s.kind == "trend" for s in stand)
            newest = max((s.point for s in stand), default=values.size)
            ages.append(-1.0 if not stand else math.inf if climbs else float(values.size - newest))
        climbing = sum(math.isinf(age) for age in ages)
        settled = [_share([0 <= age < run or math.isinf(age) for age in ages]) for run in RUNS]
        yield [f"{rate:g}", *settled, _share([age >= 0 for age in ages]), str(climbing)]


def changed_rows(share: float) -> Iterator[list[str]]:
    """How often a change of the level that lasts is still told as one."""
    for size in (1.0, 1.5, 2.0):
        for after in (15, 50):
            random = np.random.default_rng([SEED, after, round(10 * size)])
            values = random.standard_normal((int(CHANGED * share), after + FOLLOWED + LOOKS[-1]))
            values[:, after:] += size
            judged = detect_many(list(values[:, : after + FOLLOWED]), false_alarm_rate=0.002)
            first = [one.signals[0].point if one.signals else 0 for one in judged]
            kept = [(row, point) for row, point in zip(values, first, strict=True) if point > after]
            told = [[_stands(row[: point + look]) for row, point in kept] for look in LOOKS]
            yield [f"{size:g} sigma after {after}", *map(_share, told)]


def _stands(values: np.ndarray) -> bool:
    return any(s.side == "above" for s in lasting(found(values, 0.002)))


def _share(hits: list[bool]) -> str:
    share = float(np.mean(hits))
    return f"{share:.3f} ± {math.sqrt(share * (1 - share) / len(hits)):.3f}"


def tables(share: float) -> str:
    """Both tables as Markdown."""
    untouched = ["rate", *(f"settled after {run}" for run in RUNS), "never settled", "climbs among them"]
    changed = ["change", *(f"{look} later" for look in LOOKS)]
    return markdown(untouched, untouched_rows(share)) + "\n\n" + markdown(changed, changed_rows(share))


if __name__ == "__main__":
    publish_from_words(__doc__, tables, "standing")
