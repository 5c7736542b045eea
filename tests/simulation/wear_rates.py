"""Publish what is found of a wear that leaves its line: false signals, delays, starts, and what is possible.

    python tests/simulation/wear_rates.py --table docs/reference/detector.md

writes the tables between the marks of that page; `--share 0.1` draws a tenth of the series for a quick look.
Every figure has its standard error. The die is that of the sample workshop: its counts are the tubes really
drawn on it, its readings scatter by 2.5 um and are written down to 1 um. The seed is fixed.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import numpy as np
from publishing import publish

from qc.stats import detect_many, detect_settled_line, detect_wear, recursive_residuals, wear_break
from qc.stats.wear.breaks import LEAST_BEFORE
from qc.watch.changes.line_changes import worn_changes
from qc.watch.results import Point
from sample_measurements.make import scenario
from sample_measurements.make.workshop import sample_flow, sample_plan

SEED = 9101
RATE = 0.004  # about what a point of the sample workshop's tubes gets from its budget
SD_MM, STEP_MM = scenario.OD_SD_MM, 0.001
NEAR = 2

Floats = np.ndarray


def sample_counts() -> Floats:
    """Draws of every tube on the wearing die of the sample workshop."""
    own = [t for t in sample_flow(sample_plan()).tubes if t.die == scenario.WEARING_DIE]
    return np.array([tube.draws for tube in own], dtype=np.float64)


def share_with_error(hits: int, of: int) -> str:
    """Write a share with its standard error."""
    share = hits / of
    return f"{share:.3f} ± {(max(share * (1 - share), 1 / of) / of) ** 0.5:.3f}"


def ratio_with_error(raised: int, points: int, rate: float) -> str:
    """Write signals over the rate asked for; the count of signals is taken as Poisson."""
    return f"{raised / (points * rate):.2f} ± {max(raised, 1) ** 0.5 / (points * rate):.2f}"


def rates(share: float) -> Iterator[list[str]]:
    """False signals of straight lines over the rate asked for."""
    cells = ((0.01, 500, 60), (0.001, 2400, 25), (0.002, 400, 150))
    for number, (name, step) in enumerate(
        (("fine steps", 0.0), ("step of 0.4 sigma", 0.4), ("step of 1 sigma", 1.0))
    ):
        row = [name]
        for rate, series, length in cells:
            random = np.random.default_rng([SEED, number, length])
            raised = 0
            for _ in range(int(series * share)):
                x = np.cumsum(random.integers(1, 3, length)).astype(float)
                y = 0.05 * x + random.standard_normal(length)
                y = np.round(y / step) * step if step else y
                raised += len(detect_wear(x, y, false_alarm_rate=rate)[0].detection.signals)
            row.append(ratio_with_error(raised, int(series * share) * length, rate))
        yield row
    for settled, length in ((20, 60), (40, 60), (100, 150)):
        random = np.random.default_rng([SEED, 9, settled])
        raised, series = 0, int(400 * share)
        for _ in range(series):
            x = np.cumsum(random.integers(1, 3, length)).astype(float)
            y = 0.05 * x + random.standard_normal(length)
            raised += len(detect_settled_line(x, y, settled, false_alarm_rate=0.01))
        told = ratio_with_error(raised, series * (length - settled), 0.01)
        yield [f"line frozen over {settled} pieces, {length - settled} judged at 0.01", told, "", ""]


def delays(share: float) -> Iterator[list[str]]:
    """Median delay with and without the search for a bend, the same series at the same rate."""
    changes: list[tuple[str, int, Callable[[Floats], Floats]]] = [
        ("bend, 0.4 sigma a piece after 100", 100, lambda j: 0.4 * j),
        ("bend, 0.2 sigma a piece after 100", 100, lambda j: 0.2 * j),
        ("bend, 0.1 sigma a piece after 100", 100, lambda j: 0.1 * j),
        ("bend, 0.2 sigma a piece after 40", 40, lambda j: 0.2 * j),
        ("jump, 2 sigma after 50", 50, lambda j: 2.0 * (j > 0)),
        ("jump, 3 sigma after 20", 20, lambda j: 3.0 * (j > 0)),
    ]
    for number, (name, after, off) in enumerate(changes):
        random = np.random.default_rng([SEED, 20, number])
        length, series = after + 40, int(400 * share)
        x = np.arange(float(length))
        values = random.standard_normal((series, length)) + off(np.maximum(x - after + 1, 0))
        before = [
            [s.point + 2 for s in found.signals]
            for found in detect_many([recursive_residuals(x, y) for y in values], false_alarm_rate=RATE)
        ]
        now = [
            [s.point for s in detect_wear(x, y, false_alarm_rate=RATE)[0].detection.signals] for y in values
        ]
        yield [name, *(_delay(points, after) for points in (before, now))]


def _delay(raised: list[list[int]], after: int) -> str:
    """Median delay and the share told within 15 pieces, of series without a false signal before."""
    told = [min(p) - after if p else np.inf for p in raised if not p or min(p) > after]
    median = float(np.median(told))
    words = "over 40" if np.isinf(median) else f"{median:.0f}"
    return f"{words}; {share_with_error(sum(t <= 15 for t in told), len(told))}"


def starts(share: float) -> Iterator[list[str]]:
    """Starts within two pieces: by one who knows line and scatter, by us; and what the set holds."""
    x = sample_counts()
    last = float(x[-1])
    old = int(np.argmax(x > last - 60))
    new = int(np.argmax(x > scenario.WORN_THROUGH_DRAW))
    stories = [
        ("slow quickening, squared, 8 um in 60 draws", old, 0.008 * (np.maximum(x - last + 60, 0) / 60) ** 2),
        ("the sample's break, 0.6 um a draw", new, scenario.BARE_STEEL_MM * np.maximum(x - x[new - 1], 0)),
    ]
    for number, (name, first, off) in enumerate(stories):
        for since in (10, 15, 20, x.size - first):
            yield [name, str(since), *_placed(x[: first + since], off[: first + since], first, number, share)]


def _placed(x: Floats, off: Floats, first: int, number: int, share: float) -> list[str]:
    random = np.random.default_rng([SEED, 30, number, x.size])
    line = 14.884 + 0.00008 * x
    series = int(2000 * share)
    values = np.round(line + off + random.normal(0, SD_MM, (series, x.size)), 3)
    knowing = _oracle(x, values - line)
    known = share_with_error(int((np.abs(knowing - first) <= NEAR).sum()), series)
    ours = [wear_break(x, y, resolution=STEP_MM) for y in values]
    near = sum(abs(found.start - 1 - first) <= NEAR for found in ours)
    held = sum(found.start_set[0] <= first + 1 <= found.start_set[1] for found in ours)
    judged, hits, inside = int(series / 5), 0, 0
    told = 0
    for y in values[:judged]:
        found = _signal(x, y, first)
        told += found is not None
        hits += found is not None and abs(found[0] - 1 - first) <= NEAR
        inside += found is not None and found[1] <= first + 1 <= found[2]
    return [
        known,
        share_with_error(near, series),
        share_with_error(held, series),
        share_with_error(told, judged),
        share_with_error(hits, judged),
        share_with_error(inside, told) if told else "",
    ]


def _oracle(x: Floats, left: Floats) -> Floats:
    """Place a bend by least squares where the old line and the scatter are known: nobody can do better."""
    best = np.full(left.shape[0], -np.inf)
    place = np.zeros(left.shape[0], dtype=int)
    for k in range(LEAST_BEFORE, x.size - 1):
        if x[k] == x[k - 1]:
            continue
        for at in np.linspace(x[k - 1], x[k], 4, endpoint=False):
            ramp = np.maximum(x - at, 0)
            explained = (left @ ramp) ** 2 / float(ramp @ ramp)
            place = np.where(explained > best, k, place)
            best = np.maximum(best, explained)
    return place


def _signal(x: Floats, y: Floats, first: int) -> tuple[int, int, int] | None:
    """Return start and set of the first lasting signal that the watch raises after the change."""
    day = date(2026, 1, 1)
    points = [
        Point(
            **{"ordinal": n, "serial": str(n), "day": day, "model": "", "value": v, "measured": v},
            **{"readings": 1, "spread": None, "size": None, "tool_count": int(c), "air_c": None},
            **{"person": "", "gauge": "", "tool": "D-24", "batch": "", "note": ""},
        )
        for n, (c, v) in enumerate(zip(x, y.tolist(), strict=True), 1)
    ]
    raised = worn_changes(points, y, np.full(x.size, RATE))
    lasting = [s for s in raised if s.kind in {"shift", "trend"} and s.ended is None and s.point > first]
    return (lasting[0].start, lasting[0].start_low, lasting[0].start_high) if lasting else None


TABLES = {
    "wear-rates": (
        ("readings", "0.01, 60 points", "0.001, 25 points", "0.002, 150 points"),
        rates,
    ),
    "wear-delays": (
        ("change", "by residuals alone: median delay; told within 15", "with the bend: the same"),
        delays,
    ),
    "wear-starts": (
        (
            *("wear", "tubes since", "within two, line and scatter known", "within two, nothing known"),
            *("set holds it", "told", "told, and within two", "set holds it once told"),
        ),
        starts,
    ),
}


def table(name: str, share: float) -> str:
    """Write one table."""
    head, rows = TABLES[name]
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    for row in rows(share):
        lines.append("| " + " | ".join(row) + " |")
        sys.stdout.write(lines[-1] + "\n")
        sys.stdout.flush()
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    """Draw, and print or write the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--only", choices=sorted(TABLES), default=None)
    parser.add_argument("--table", type=Path, default=None, help="page to write the tables to")
    chosen = parser.parse_args(arguments)
    for name in [chosen.only] if chosen.only else TABLES:
        made = table(name, chosen.share)
        if chosen.table is not None:
            publish(made, name, chosen.table)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
