"""Publish what the doubts about sheets cost the detector: delays with them on and off, from the same draws.

    python tests/simulation/doubt_delays.py --table docs/reference/detector.md

Each series is one figure of a piece, a card a day, whose plan gives it limits of four standard deviations
either way; all series of a change are handed in together, each the only figure of a stage of its own. What
the doubts hold is not seen by the detector: never, as if nobody answered, or one piece later, as if it were
confirmed next morning. Delays are counted in pieces made. `--share 0.1` draws a tenth of the series for a
quick look. The seed is fixed; ± is one standard error of the mean difference.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
import polars as pl
from detector_rates import CHANGES, FOLLOWED, RATE
from publishing import markdown, publish_from_words

from qc.column_types import polars_schema
from qc.ingest import known_from
from qc.ingest.doubts import find_doubts, gather_facts
from qc.ingest.frames import EVENT_SCHEMA, INDEX, PART, READING_SCHEMA
from qc.plan import EVENT, Plan, load_plan
from qc.stats import detect_many

SEED = 9731
SERIES = 300  # at a share of 1
MIDDLE, SIGMA, STEP = 14.05, 0.01, 0.001  # of a bore, to a tenth of its standard deviation [mm]
LOOKED_AT = 40  # pieces after a change that go through the doubts
FIRST = date(2026, 1, 1)

STAGE = """
  - id: s{number}
    name: Bore {number}
    characteristics:
      - id: bore
        name: Bore
        unit: mm
        resolution: {step}
        sensible: [1, 150]
        limits: [{{target: {middle}, lower: {lower:g}, upper: {upper:g}}}]"""


def plan_of(series: int) -> Plan:
    """Return a plan with so many stages of one figure each."""
    lower, upper = MIDDLE - 4 * SIGMA, MIDDLE + 4 * SIGMA
    stages = "".join(
        STAGE.format(number=number, step=STEP, middle=MIDDLE, lower=lower, upper=upper)
        for number in range(series)
    )
    return load_plan(
        "workshop: {name: One bench}\n"
        "models: [{id: tenor, name: Tenor, family: tenors, pedal_midi: 34, length_mm: 2945}]\n"
        f"stages:{stages}\n"
    )


def rows(values: np.ndarray, first: int) -> pl.DataFrame:
    """Return readings as unfolded, (series, pieces), a piece a day, beginning with number `first`."""
    number, at = (axis.ravel() for axis in np.indices(values.shape))
    days = [FIRST + timedelta(days=int(first + a)) for a in at]
    blank = [
        pl.lit("" if kind == pl.String else None, kind).alias(name) for name, kind in READING_SCHEMA.items()
    ]
    flat = values.ravel()
    own = pl.DataFrame({"value": flat, "day": days}).with_columns(
        pl.Series("serial", [f"S{n}-{1000 + first + a}" for n, a in zip(number, at, strict=True)]),
        pl.Series("stage", [f"s{n}" for n in number]),
        pl.Series("text", [f"{v:.3f}" for v in flat]),
        pl.Series("file", [f"{n}-{first + a}.csv" for n, a in zip(number, at, strict=True)]),
        pl.lit("tenor").alias("model"),
        pl.lit("bore").alias("characteristic"),
        pl.lit("mm").alias("unit"),
        pl.lit(1, pl.Int64).alias("row"),
    )
    left = [expression for expression in blank if expression.meta.output_name() not in own.columns]
    whole = (
        own.with_columns(*left)
        .with_columns(pl.col("file").alias("sheet"))
        .select(pl.col(name).cast(kind) for name, kind in READING_SCHEMA.items())
    )
    return whole.with_columns(
        pl.int_range(pl.len(), dtype=pl.Int64).alias(PART),
        pl.int_range(pl.len(), dtype=pl.Int64).alias(INDEX),
    )


def held_after(values: np.ndarray, after: int) -> np.ndarray:
    """Say which pieces the doubts hold, handed in day by day beside the record of what went in before."""
    plan = plan_of(len(values))
    events = pl.DataFrame(schema={**EVENT_SCHEMA, PART: pl.Int64, INDEX: pl.Int64})
    none = pl.DataFrame(schema=polars_schema(EVENT))
    held = np.zeros(values.shape, dtype=bool)
    for at in range(after, min(after + LOOKED_AT, values.shape[1])):
        past = rows(values[:, :at], 0).filter(pl.Series(~held[:, :at].ravel()))
        known = known_from(FIRST + timedelta(days=at), past.with_row_index("id"), none)
        facts = gather_facts(rows(values[:, at : at + 1], at), events, plan, known)
        for finding in find_doubts(facts, ()).readings:
            held[finding.index, at] = True
    return held


def told_after(order: np.ndarray, values: np.ndarray, after: int) -> float:
    """Return after how many pieces made the detector tells, seeing them in this order; nan: false before."""
    (found,) = detect_many([values[order]], false_alarm_rate=RATE)
    if not found.signals:
        return math.inf
    seen = order[: found.signals[0].point]
    return float(seen.max() + 1 - after) if seen.max() >= after else math.nan


def a_piece_later(held: np.ndarray) -> np.ndarray:
    """Return the order in which pieces are seen where each held one comes in behind the next."""
    keys = np.arange(len(held)) + np.where(held, 1.5, 0.0)
    return np.argsort(keys, kind="stable")


def delay_rows(share: float) -> Iterator[list[str]]:
    """Delays of the same series without the doubts, with them, and how much of a change is held."""
    series = max(10, int(SERIES * share))
    for number, change in enumerate(CHANGES):
        random = np.random.default_rng([SEED, number])
        z = random.standard_normal((series, change.after + FOLLOWED))
        z[:, change.after :] = change.apply(z[:, change.after :], np.arange(1, FOLLOWED + 1))
        values = np.round((MIDDLE + SIGMA * z) / STEP) * STEP
        held = held_after(values, change.after)
        every = np.arange(values.shape[1])
        told = [
            (
                told_after(every, own, change.after),
                told_after(every[~stopped], own, change.after),
                told_after(a_piece_later(stopped), own, change.after),
            )
            for own, stopped in zip(values, held, strict=True)
        ]
        off, never, later = map(list, zip(*[row for row in told if not math.isnan(row[0])], strict=True))
        share_held = held[:, change.after : change.after + LOOKED_AT].mean()
        yield [
            change.name,
            f"{np.median(off):.0f}",
            _grown(off, never),
            _grown(off, later),
            f"{100 * share_held:.2f} %",
        ]


def _grown(off: list[float], on: list[float]) -> str:
    """Return the median with the doubts and the mean growth over series that both tell."""
    both = [(a, b) for a, b in zip(off, on, strict=True) if math.isfinite(a) and math.isfinite(b)]
    grown = np.array([b - a for a, b in both])
    error = grown.std(ddof=1) / math.sqrt(len(grown))
    return f"{np.median(on):.0f} ({grown.mean():+.2f} ± {error:.2f})"


def tables(share: float) -> str:
    """Return the table."""
    head = [
        "change",
        "doubts off",
        "held, never answered",
        "held, confirmed a piece later",
        "held of the change",
    ]
    return markdown(head, delay_rows(share))


if __name__ == "__main__":
    publish_from_words(__doc__, tables, "doubt-delays")
