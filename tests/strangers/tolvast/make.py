"""An invented one-room shop making slide brass: few pieces over a long time, and the truth about them.

One person does several stages; four to eight instruments of two models leave the room in a month.
`python make.py FOLDER --seed N [--months M]` writes `plan.yaml`, `hand_in/DAY/SHEET`, and `truth.json`.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import yaml

sys.path.insert(0, str(Path(__file__).resolve().parent))
import tolvast_shop as shop
from tolvast_noise import AFTER, BEFORE, Floats, Noise, Series, draw_noise, odd_piece, quiet_change
from tolvast_sheets import Habit, Log, hand_in
from tolvast_shop import Card, Figure

LAST_DAY = date(2026, 9, 30)
LEAD = 45
"""Working days before the first sheet in which the first pieces were begun."""

OFTEN = {"person": 1.0, "gauge": 1.0, "batch": 2.5, "tool": 4.0}
"""How readily a cause is drawn where it can be: few cards name a tool or a lot."""


def working_days(
    last: date, months: int, rng: np.random.Generator
) -> tuple[list[date], list[str | date], date]:
    """Give the days of work, those without as the plan names them, and the first day of the sheets."""
    month = last.year * 12 + last.month - months
    first = date(month // 12, month % 12 + 1, 1)
    weekly = [("sat", 5), ("sun", 6)] if rng.random() < 0.7 else [("sun", 6), ("mon", 0)]
    begin = first - timedelta(days=2 * LEAD)
    every = [begin + timedelta(days=n) for n in range((last - begin).days + 1)]
    summer = int(rng.integers(20, 33))
    single = {
        day
        for day in every
        if (day.month == 12 and day.day >= 24)
        or (day.month, day.day) == (1, 1)
        or day.isocalendar().week in (summer, summer + 1)
        or rng.random() < 0.01
    }
    off = {number for _, number in weekly}
    work = [day for day in every if day.weekday() not in off and day not in single]
    named: list[str | date] = [name for name, _ in weekly]
    return work, [*named, *sorted(day for day in single if day.weekday() not in off)], first


def begin_pieces(work: Sequence[date], rng: np.random.Generator) -> list[tuple[str, str, int]]:
    """Give serial, model and working day of beginning of every piece; models come in runs of two to five."""
    rate = rng.uniform(4.8, 7.2)
    months = sorted({(day.year, day.month) for day in work})
    begun: list[int] = []
    for month in months:
        days = [i for i, day in enumerate(work) if (day.year, day.month) == month]
        whole = round(min(8.0, max(4.0, rate + rng.uniform(-1.4, 1.4))) * min(1.0, len(days) / 19))
        begun += sorted(int(i) for i in rng.choice(days, size=max(1, whole)))
    models: list[str] = []
    while len(models) < len(begun):
        model = str(rng.choice(shop.MODELS, p=[0.42, 0.58]))
        models += [model] * int(rng.integers(2, 6))
    number = int(rng.integers(120, 700))
    return [
        (f"{shop.PREFIX}-{number + i:04d}", model, day)
        for i, (model, day) in enumerate(zip(models, begun, strict=False))
    ]


def runs_of(count: int, rng: np.random.Generator) -> list[int]:
    """Number the lots of four to eight that so many pieces fall into."""
    lots: list[int] = []
    while len(lots) < count:
        lots += [(lots[-1] + 1 if lots else 1)] * int(rng.integers(4, 9))
    return lots[:count]


def write_logs(
    pieces: Sequence[tuple[str, str, int]], work: Sequence[date], first: date, rng: np.random.Generator
) -> list[Log]:
    """Take the pieces through every stage and say who, with what, out of which lot, on which day."""
    logs = []
    for stage in shop.STAGES:
        passing = []
        for serial, model, begun in pieces:
            slot = begun + stage.after + int(rng.integers(-1, 3))
            slot = -(-slot // 10) * 10 if stage.gathered else slot
            if model in stage.models and 0 <= slot < len(work):
                passing.append((slot, serial, model))
        passing.sort()
        start = int(rng.integers(1, 60))
        lots = [f"{stage.batch}{start + n:03d}" for n in runs_of(len(passing), rng)]
        for card in (card for card in shop.CARDS if card.stage == stage.id):
            rows = [
                (work[slot + card.after], serial, model, lot)
                for (slot, serial, model), lot in zip(passing, lots, strict=True)
                if slot + card.after < len(work)
            ]
            kept = [row for row in rows if row[0] >= first and rng.random() > 0.015]
            logs.append(_fill(card, kept, rng))
    return logs


def _fill(card: Card, rows: Sequence[tuple[date, str, str, str]], rng: np.random.Generator) -> Log:
    """Give a card's rows their people, tools and gauges; new ones come now and then and change nothing."""
    n = len(rows)
    usual = [shop.OWNER, shop.PARTNER] if rng.random() < 0.6 else [shop.PARTNER, shop.OWNER]
    person = [str(rng.choice(usual, p=[0.8, 0.2])) for _ in rows]
    if rng.random() < 0.3 and n > 12:
        _hand_over(person, int(rng.integers(6, n - 4)), shop.APPRENTICE, rng)
    rotating = card.tool is not None and rng.random() < 0.35
    tool = [""] * n
    if card.tool is not None:
        spells = runs_of(n, rng) if rotating else [0] * n
        tool = [shop.tool_id(card.tool, 1 + spell % 3) for spell in spells]
        if not rotating and rng.random() < 0.4 and n > 12:
            _hand_over(tool, int(rng.integers(6, n - 4)), shop.tool_id(card.tool, 2), rng, share=1.0)
    gauges: dict[str, list[str]] = {}
    for figure in shop.figures_of(card):
        if figure.gauge:
            ids = [shop.gauge_id(figure.gauge, k) for k in (1, 2, 3)]
            gauges[figure.gauge] = [str(rng.choice(ids[:2], p=[0.85, 0.15])) for _ in rows]
            if rng.random() < 0.2 and n > 12:
                _hand_over(gauges[figure.gauge], int(rng.integers(6, n - 4)), ids[2], rng, share=1.0)
    return Log(
        card,
        serials=[row[1] for row in rows],
        models=[row[2] for row in rows],
        days=[row[0] for row in rows],
        person=person,
        batch=[row[3] for row in rows],
        tool=tool,
        gauges=gauges,
        rotating=rotating,
    )


def _hand_over(column: list[str], at: int, new: str, rng: np.random.Generator, share: float = 0.88) -> None:
    """Let a new name take over a column from a row on, for all or most of the rows."""
    for i in range(at, len(column)):
        if i == at or rng.random() < share:
            column[i] = new


def series_of(log: Log, figure: Figure, rng: np.random.Generator) -> list[Series]:
    """Give the series of a figure, one for each model where the plan parts them; a few pieces lack it."""
    shared = len(shop.figures_of(log.card)) > 1
    there = [i for i in range(len(log.serials)) if not shared or rng.random() > 0.012]
    stage = shop.STAGE_OF[log.card.stage]
    ways = ["unrecorded"]
    ways += ["batch", "batch"] if stage.batch else []
    ways += ["tool", "tool"] if log.rotating else []
    ways += ["day"] * 3 if stage.gathered else []
    parted = []
    for model in shop.models_of(figure) if figure.split else (None,):
        rows = [i for i in there if model is None or log.models[i] == model]
        if rows:
            noise = draw_noise(figure, model, ways, rng)
            parted.append(Series(figure, model, rows, [log.serials[i] for i in rows], noise))
    if len(parted) > 1:  # one bench, one way of working: models differ in their mean only
        for other in parted[1:]:
            mean, log_sd = other.noise.mean, other.noise.log_sd
            other.noise = Noise(**{**vars(parted[0].noise), "mean": mean, "log_sd": log_sd})
            if log_sd is not None:
                other.noise.log_sd = math.sqrt(math.log1p((other.noise.sd / mean) ** 2))
    return parted


def recorded_change(log: Log, parts: Sequence[Series], rng: np.random.Generator) -> bool:
    """Put a change that a column of the cards tells into every series of a figure, where there is room."""
    figure = parts[0].figure
    if any(len(part.rows) < BEFORE + AFTER for part in parts):
        return False
    low = max(part.rows[BEFORE] for part in parts)
    high = min(part.rows[-AFTER] for part in parts)
    ways = {"person"} | ({"batch"} if shop.STAGE_OF[log.card.stage].batch else set())
    ways |= {"gauge"} if figure.gauge else set()
    ways |= {"tool"} if log.card.tool and not log.rotating else set()
    free = sorted(ways - log.taken)
    if low > high or not free:
        return False
    weights = np.array([OFTEN[way] for way in free])
    way, at = str(rng.choice(free, p=weights / weights.sum())), int(rng.integers(low, high + 1))
    sign = 1.0 if figure.positive or figure.kind != "measured" else float(rng.choice([-1.0, 1.0]))
    size, open_end, column = sign * float(rng.uniform(1.5, 2.0)), True, log.person
    if way == "person":
        usual = [shop.OWNER, shop.PARTNER]
        column[:] = [name if name in usual else str(rng.choice(usual)) for name in column]
        _hand_over(column, at, shop.APPRENTICE, rng)
        value = shop.APPRENTICE
    elif way == "tool":
        column, value = log.tool, shop.tool_id(log.card.tool or "", 4)
        _hand_over(column, at, value, rng, share=1.0)
    elif way == "gauge":
        column, ids = (
            log.gauges[figure.gauge or ""],
            [shop.gauge_id(figure.gauge or "", k) for k in (1, 2, 3)],
        )
        value = ids[2] if rng.random() < 0.4 else ids[0]
        column[:] = [ids[0] if one == ids[2] else one for one in column]
        column[at:] = [value if value == ids[2] or rng.random() < 0.85 else ids[1] for _ in column[at:]]
    else:
        column = log.batch
        lots = [
            lot for lot in dict.fromkeys(column[at:]) if column.index(lot) >= low and column.count(lot) >= 4
        ]
        if not lots:
            return False
        value, open_end = str(rng.choice(lots)), False
    touched = [[k for k, i in enumerate(part.rows) if i >= at and column[i] == value] for part in parts]
    if way == "batch":
        touched = [[k for k, i in enumerate(part.rows) if column[i] == value] for part in parts]
    if not all(touched):
        return False
    log.taken.add(way)
    for part, places in zip(parts, touched, strict=True):
        part.shift(places, size, way, value, open_end)
    return True


def let_things_happen(figures: Iterable[tuple[Log, list[Series]]], rng: np.random.Generator) -> None:
    """Change about half of all series, once or twice; the others keep still from first to last."""
    groups = list(figures)
    half = sum(len(parts) for _, parts in groups) / 2
    changed = 0
    for k in rng.permutation(len(groups)):
        log, parts = groups[int(k)]
        long = [part for part in parts if len(part.rows) >= BEFORE + AFTER]
        if changed >= half or not long:
            continue
        if not (rng.random() < 0.6 and recorded_change(log, parts, rng)):
            quiet_change(long[0], rng)
        for part in parts:
            if part.changes and part.figure.kind == "measured" and rng.random() < 0.25:
                spots = np.flatnonzero((part.offset == 0) & (part.scale == 1))
                spots = spots[spots >= BEFORE]
                if len(spots):
                    odd_piece(part, int(rng.choice(spots)), 1.0)
        changed += sum(1 for part in parts if part.changes)


def draw_values(log: Log, part: Series, effects: dict[str, float], rng: np.random.Generator) -> Floats:
    """Draw the true figure of every piece of a series, its changes in it."""
    noise = part.noise
    columns = {"batch": log.batch, "tool": log.tool, "day": [day.isoformat() for day in log.days]}
    column = columns.get(noise.lot_by or "") or [f"lot {n}" for n in runs_of(len(log.serials), rng)]
    lots = [column[i] for i in part.rows]
    for lot in dict.fromkeys(lots):
        effects.setdefault(lot, float(rng.standard_normal()))
    if noise.lot_by == "tool":  # three tools in turn have the variance 1 between them exactly
        effects.update({tool: math.sqrt(1.5) * (int(tool[-1]) - 2) for tool in dict.fromkeys(lots)})
    if noise.kind == "counts":
        return rng.poisson(np.maximum(noise.mean + noise.sd * part.offset, 0)).astype(np.float64)
    if noise.kind == "passfail":
        share = np.clip(noise.mean + noise.sd * part.offset, 0, 0.9)
        return (rng.random(len(share)) < share).astype(np.float64)
    around = noise.shaped(noise.latent(lots, effects, rng)) * part.scale + part.offset
    middle = np.full(len(around), noise.mean)
    if part.figure.as_deviation:
        middle += [part.figure.target_of(log.models[i]) for i in part.rows]
    return np.asarray(middle + noise.sd * around, dtype=np.float64)


def make(folder: Path, seed: int, months: int = 14) -> None:
    """Write plan, sheets and truth of a fresh invented workshop into a folder.

    Parameters
    ----------
    folder : Path
        Where to write; made if it is not there.
    seed : int
        Draws everything: who, when, how figures scatter, what goes wrong. The same seed gives the same files.
    months : int, default 14
        Months of sheets, the last of them September 2026.
    """
    if months < 1:
        raise ValueError(f"{months} months cannot be made. Ask for one or more.")
    rng = np.random.default_rng([seed, 7013])
    work, days_off, first = working_days(LAST_DAY, months, rng)
    logs = write_logs(begin_pieces(work, rng), work, first, rng)
    figures = [
        (log, series_of(log, figure, rng))
        for log in logs
        if log.serials
        for figure in shop.figures_of(log.card)
    ]
    let_things_happen(figures, rng)
    told: list[dict[str, Any]] = []
    for log, parts in figures:
        effects: dict[str, float] = {}
        for part in parts:
            values = log.values.setdefault(part.figure.id, np.full(len(log.serials), np.nan))
            values[part.rows] = draw_values(log, part, effects, rng)
            told.append({**part.truth(), "stage": log.card.stage})
    folder.mkdir(parents=True, exist_ok=True)
    hers = (log.days[log.person.index(shop.APPRENTICE)] for log in logs if shop.APPRENTICE in log.person)
    joined = min(hers, default=first)
    plan = yaml.safe_dump(shop.plan(days_off, joined), sort_keys=False, allow_unicode=True)
    (folder / "plan.yaml").write_text(plan, encoding="utf-8")
    habit = Habit.drawn([day for day in work if day >= first], rng)
    corrected = [row for log in logs if log.serials for row in hand_in(log, folder / "hand_in", habit, rng)]
    truth = {
        "workshop": shop.NAME,
        "months": months,
        "habit": habit.name,
        "series": told,
        "corrected": corrected,
    }
    (folder / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the command line and make the workshop it asks for."""
    parser = argparse.ArgumentParser(description="Make an invented one-room workshop and the truth about it.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--months", type=int, default=14)
    asked = parser.parse_args(arguments)
    make(asked.folder, asked.seed, asked.months)


if __name__ == "__main__":
    main()
