"""Publish how often the watch's start set and size hold the truth, when raised and after more pieces.

    python tests/simulation/start_coverage.py --table docs/reference/detector.md

Everything goes through the course of a series, as an upload does: it is judged up to the look, returns are
told apart, kind, start and size are told anew. Shown is the first signal raised after the true change, in
series without one before; ± is one standard error.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np
from publishing import markdown, publish_from_words

from qc.plan import Characteristic
from qc.stats import detect_many
from qc.watch.changes import FoundChange, LevelCourse
from qc.watch.results import Point

SEED = 9201
RATE = 0.001
FOLLOWED = 150  # points in which a signal is waited for
LOOKS = (0, 3, 5, 10, 20, 40)  # pieces made after the signal
SERIES = 800  # drawn for each case at a share of 1
FIGURE = Characteristic(id="x", name="X", unit="mm")
DAY = date(2026, 1, 5)


@dataclass(frozen=True)
class Case:
    """A change of size `size` after `after` steady readings of standard deviation 1."""

    kind: str
    size: float
    after: int

    @property
    def name(self) -> str:
        """Words for the table."""
        words = {
            "shift": f"level, {self.size:g} sigma",
            "trend": f"climb, {self.size:g} sigma a piece",
            "spread": f"spread times {self.size:g}",
            "single": f"one piece, {self.size:g} sigma",
            "passing": f"eight pieces, {self.size:g} sigma",
        }
        return f"{words[self.kind]} after {self.after}"

    def draw(self, random: np.random.Generator, series: int) -> np.ndarray:
        """Readings with the change in them."""
        values = random.standard_normal((series, self.after + FOLLOWED + LOOKS[-1]))
        late = values[:, self.after :]
        if self.kind == "shift":
            late += self.size
        elif self.kind == "trend":
            late += self.size * np.arange(1, late.shape[1] + 1)
        elif self.kind == "spread":
            late *= self.size
        else:
            late[:, : 1 if self.kind == "single" else 8] += self.size
        return values


LEVELS = [Case("shift", size, after) for after in (10, 20, 50) for size in (1.0, 1.5, 2.0, 3.0)]
OTHERS = [
    Case("trend", 0.08, 50),
    Case("trend", 0.2, 20),
    Case("spread", 2.0, 20),
    Case("spread", 2.0, 50),
    Case("spread", 3.0, 50),
    Case("spread", 0.4, 50),
    Case("single", 6.0, 30),
    Case("single", 5.0, 12),
    Case("passing", 3.0, 30),
]


def looks(case: Case, share: float) -> Iterator[tuple[int, list[FoundChange]]]:
    """What is told of the change at each look."""
    random = np.random.default_rng([SEED, case.after, round(100 * case.size), len(case.kind)])
    values = case.draw(random, max(40, int(SERIES * share)))
    judged = values[:, : case.after + FOLLOWED]
    first = [
        one.signals[0].point if one.signals else 0 for one in detect_many(list(judged), false_alarm_rate=RATE)
    ]
    kept = [(row, point) for row, point in zip(values, first, strict=True) if point > case.after]
    for look in LOOKS:
        told = [told_of(row[: point + look], point) for row, point in kept]
        yield look, [finding for finding in told if finding is not None]


def told_of(values: np.ndarray, point: int) -> FoundChange | None:
    """The watch's finding raised at `point`, judged on all `values`."""
    points = tuple(Point(i, f"S{i}", DAY, "", float(v), float(v)) for i, v in enumerate(values, start=1))
    found = LevelCourse(FIGURE, points).changes(RATE).signals
    return next((signal for signal in found if signal.point == point), None)


def level_rows(share: float) -> Iterator[list[str]]:
    """Start set with its width at each look, start and size at two, of changes of the level."""
    for case in LEVELS:
        sets, starts, sizes = [], [], []
        for look, found in looks(case, share):
            held = [s.start_low <= case.after + 1 <= s.start_high for s in found]
            sets.append(f"{_share(held)}, {np.mean([s.start_high - s.start_low + 1 for s in found]):.1f}")
            if look in (0, 10):
                starts.append(f"{np.mean([abs(s.start - case.after - 1) <= 2 for s in found]):.2f}")
                sizes.append(
                    f"{np.mean([(s.size_low or 0) <= case.size <= (s.size_high or 0) for s in found]):.2f}"
                )
        yield [case.name, *sets, " / ".join(starts), " / ".join(sizes)]


def kind_rows(share: float) -> Iterator[list[str]]:
    """What each kind of change is told as, and how often the start set holds the start."""
    for case in [LEVELS[8], LEVELS[10], *OTHERS]:
        for look, found in looks(case, share):
            if look not in (0, 5, 20, 40):
                continue
            held = [s.start_low <= case.after + 1 <= s.start_high for s in found]
            told = [s.kind if s.ended is None else f"{s.kind} (over)" for s in found]
            shares = {kind: told.count(kind) / len(told) for kind in dict.fromkeys(sorted(told))}
            most = sorted(shares.items(), key=lambda item: -item[1])
            yield [
                case.name,
                "when raised" if look == 0 else f"{look} later",
                ", ".join(f"{kind} {part:.3f}" for kind, part in most if part >= 0.005),
                _share(held),
            ]


def _share(hits: list[bool]) -> str:
    share = float(np.mean(hits))
    return f"{share:.3f} ± {math.sqrt(share * (1 - share) / len(hits)):.3f}"


def tables(share: float) -> str:
    """Both tables as Markdown."""
    later = ["when raised", *(f"{look} later" for look in LOOKS[1:])]
    level = ["change", *later, "start within two", "size holds it"]
    kinds = ["change", "looked at", "told as (share of the series)", "start set holds it"]
    return markdown(level, level_rows(share)) + "\n\n" + markdown(kinds, kind_rows(share))


if __name__ == "__main__":
    publish_from_words(__doc__, tables, "starts")
