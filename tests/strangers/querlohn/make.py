"""Write an invented workshop, Querlohn: its plan, the sheets it handed in, what is true of it.

`python make.py FOLDER --seed N [--months M]` writes `plan.yaml`, `hand_in/YYYY-MM-DD/...` and `truth.json`.
The seed draws volumes, people, noise, faults, limits, and how the shop hands in: day by day, weekly, at once.

In `truth.json` a series that pools models with different targets has its mean and limits as deviations from
the target (`"about": "target"`). `first_serial` and `last_serial` count in the order of measuring: by day,
then serial. After `last_serial` the old state is back. Two changes of a series add up. The faults of a skewed
figure are in its sd on the raw scale. `lane` is the model, family or `all` that shares the chart.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import yaml

sys.path.insert(0, str(Path(__file__).resolve().parent))

from querlohn_noise import Lane, Series, draw_series, draw_values, put_faults, runs, swap, true_ppk  # noqa: E402
from querlohn_sheets import Row, hand_in  # noqa: E402
from querlohn_shop import (  # noqa: E402
    CARDS,
    FIRST_YEAR,
    MODELS,
    PEOPLE,
    PER_MONTH,
    REPAIRS_PER_MONTH,
    Card,
    Figure,
    gauge_ids,
    heading_of,
    lane_of,
    make_plan,
    target_of,
    tool_ids,
)

NAME = "querlohn"
HOLIDAYS = (
    (1, 1),
    (1, 2),
    (1, 3),
    (5, 1),
    (10, 3),
    (12, 24),
    (12, 25),
    (12, 26),
    (12, 27),
    (12, 30),
    (12, 31),
)


def make(folder: Path, seed: int, months: int = 9) -> None:
    """Write plan, sheets and truth into a folder; the same seed writes the same files."""
    rng = np.random.default_rng(seed)
    habit = str(rng.choice(["daily", "weekly", "whole"], p=[0.4, 0.4, 0.2]))
    days, days_off = _calendar(rng, months)
    pieces = {"new": _jobs(rng, days, months), "repairs": _repairs(rng, days, months)}
    steps = _steps(rng)
    lanes = [lane for card in CARDS for lane in _lanes(rng, card, pieces[card.pieces], len(days))]
    all_series = [
        draw_series(rng, lane, figure, steps[figure.gauge or figure.id])
        for lane in lanes
        for figure in lane.card.figures
    ]
    put_faults(rng, all_series)
    _harmless_changes(rng, lanes)
    limits: dict[str, list[dict[str, object]]] = {figure.id: [] for card in CARDS for figure in card.figures}
    for series in all_series:
        limits[series.figure.id] += _limits(rng, series)
    plan = make_plan({"days_off": ["sat", "sun", *days_off], "lead": PEOPLE[0]}, steps, limits)
    folder.mkdir(parents=True, exist_ok=True)
    text = yaml.safe_dump(plan, allow_unicode=True, sort_keys=False, width=110)
    (folder / "plan.yaml").write_text(text, encoding="utf-8")
    rows = {card.id: _rows(rng, card, [one for one in all_series if one.lane.card is card]) for card in CARDS}
    corrections = hand_in(rng, folder / "hand_in", rows, days, habit)
    truth = {
        "workshop": NAME,
        "months": months,
        "seed": seed,
        "habit": habit,
        "corrections": corrections,
        "series": [_truth(series) for series in all_series],
    }
    (folder / "truth.json").write_text(
        json.dumps(truth, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
    )


def _calendar(rng: np.random.Generator, months: int) -> tuple[list[date], list[date]]:
    """List the working days, and the days off that are no weekend."""
    first, last = date(FIRST_YEAR, 1, 1), date(FIRST_YEAR + months // 12, months % 12 + 1, 1)
    week = [first + timedelta(days=n) for n in range((last - first).days)]
    week = [day for day in week if day.weekday() < 5]
    closed = date(FIRST_YEAR, 7, 8) + timedelta(weeks=int(rng.integers(0, 6)))
    bridges = {week[int(number)] for number in rng.integers(10, len(week) - 4, 3)}
    off = [
        day
        for day in week
        if (day.month, day.day) in HOLIDAYS or closed <= day < closed + timedelta(days=14) or day in bridges
    ]
    return [day for day in week if day not in off], off


def _months(days: list[date], months: int) -> Iterator[list[int]]:
    """Give the working days of each month, as places in the list of days."""
    for number in range(months):
        year, month = FIRST_YEAR + number // 12, number % 12 + 1
        yield [i for i, day in enumerate(days) if (day.year, day.month) == (year, month)]


def _jobs(rng: np.random.Generator, days: list[date], months: int) -> list[tuple[str, str, int]]:
    """Begin jobs of one model each; give serial, model and first day of every piece."""
    usual = {model: float(rng.uniform(*bounds)) for model, bounds in PER_MONTH.items()}
    out: list[tuple[str, str, int]] = []
    for begun in _months(days, months):
        jobs: list[tuple[str, int]] = []
        for model, count in usual.items():
            rest = max(1, int(round(count + float(rng.normal(0, count**0.5 / 3)))))
            while rest > 0:
                size = min(rest, int(rng.integers(2, 7)) if count > 6 else int(rng.integers(1, 4)))
                jobs.append((model, size))
                rest -= size
        for place, number in enumerate(rng.permutation(len(jobs))):
            model, size = jobs[int(number)]
            day = begun[place * len(begun) // len(jobs)]
            out += [(f"QN-{len(out) + i + 1:04d}", model, day) for i in range(size)]
    return out


def _repairs(rng: np.random.Generator, days: list[date], months: int) -> list[tuple[str, str, int]]:
    """Take in instruments to be repaired, with numbers of their own."""
    out: list[tuple[str, str, int]] = []
    for begun in _months(days, months):
        for day in sorted(int(rng.choice(begun)) for _ in range(int(rng.integers(*REPAIRS_PER_MONTH)))):
            out.append(
                (f"QR-{len(out) + 1:03d}", str(rng.choice(list(MODELS), p=[0.5, 0.3, 0.15, 0.05])), day)
            )
    return out


def _steps(rng: np.random.Generator) -> dict[str, float]:
    """Draw the step of every gauge: the fine one of two, mostly."""
    steps: dict[str, float] = {}
    for card in CARDS:
        for figure in card.figures:
            steps.setdefault(figure.gauge or figure.id, float(figure.steps[-1 if rng.random() < 0.3 else 0]))
    return steps


def _lanes(
    rng: np.random.Generator, card: Card, pieces: list[tuple[str, str, int]], last_day: int
) -> list[Lane]:
    """Let the pieces pass the benches of a card in order; write who, with what, from which batch."""
    passed: dict[str, list[tuple[int, str, str]]] = defaultdict(list)
    delay: dict[tuple[str, int], int] = {}
    for serial, model, begun in pieces:
        wait = delay.setdefault((model, begun), int(rng.integers(0, 3)))
        day = begun + card.day + wait + int(rng.random() < 0.3)
        if model in card.models and day < last_day and rng.random() > 0.007:  # now and then a card is lost
            passed[lane_of(card, model)].append((day, serial, model))
    lanes = []
    for name in sorted(passed):
        done = sorted(passed[name])
        n, usual = len(done), [str(code) for code in rng.choice(PEOPLE, 2, replace=False)]
        second = 0.0 if rng.random() < 0.4 else float(rng.uniform(0.1, 0.5))
        who = {day: usual[int(rng.random() < second)] for day in sorted({day for day, _, _ in done})}
        tools = tool_ids(card.tool, name) if card.tool else [""]
        rotating = len(tools) > 1 and rng.random() < 0.35
        prefix = f"{card.batch}{name[:2].upper()}-" if card.pool != "all" else f"{card.batch}-"
        batches = [f"{prefix}{number + 101}" for number in range(n)] if card.batch else []
        lane = Lane(
            card,
            name,
            [serial for _, serial, _ in done],
            [model for _, _, model in done],
            [day for day, _, _ in done],
            [who[day] for day, _, _ in done],
            runs(rng, n, tools) if rotating else [str(rng.choice(tools))] * n,
            runs(rng, n, batches, keep_order=True) if batches else [""] * n,
            {
                one.gauge: [str(rng.choice(gauge_ids(one.gauge, name)))] * n
                for one in card.figures
                if one.gauge
            },
        )
        lane.taken |= {"tool"} if rotating or not card.tool else set()
        lanes.append(lane)
    return lanes


def _harmless_changes(rng: np.random.Generator, lanes: list[Lane]) -> None:
    """Let people, tools and gauges change on other cards too, without any effect."""
    for lane in lanes:
        n = len(lane.serials)
        overnight = [i for i in range(8, n - 8) if lane.days[i] != lane.days[i - 1]]
        keys = ["person", "tool", *(f"gauge {gauge}" for gauge in lane.gauge)]
        for key in (key for key in keys if key not in lane.taken):
            if overnight and rng.random() < 0.35:
                swap(rng, lane, key, int(rng.choice(overnight)), None)


def _limits(rng: np.random.Generator, series: Series) -> list[dict[str, object]]:
    """Draw the limits of a series and say how they stand in the plan."""
    figure, lane, step = series.figure, series.lane, series.step
    if figure.noise in ("counts", "passfail") or figure.sides == "none":
        return []
    named = {} if lane.card.pool == "all" else {"models": sorted(set(lane.models))}
    unlimited = rng.random() < 0.08
    if figure.noise == "skewed":
        series.upper = (
            None if unlimited else _on_step(series.mean + float(rng.uniform(2.2, 6)) * series.sd, step)
        )
        return [] if series.upper is None else [{"upper": series.upper, **named}]
    half = _on_step(max(step, float(rng.uniform(2.6, 5.2)) * series.sd), step)
    series.lower = None if unlimited or figure.sides == "upper" else -half
    series.upper = None if unlimited or figure.sides == "lower" else half
    entries: list[dict[str, object]] = []
    for target, models in _targets(figure, lane).items():
        entry: dict[str, object] = {"target": target}
        if series.lower is not None:
            entry["lower"] = round(target + series.lower, 6)
        if series.upper is not None:
            entry["upper"] = round(target + series.upper, 6)
        entries.append({**entry, **(named if not isinstance(figure.target, dict) else {"models": models})})
    return entries


def _targets(figure: Figure, lane: Lane) -> dict[float, list[str]]:
    """List the targets of a figure at a bench, each with its models."""
    out: dict[float, list[str]] = {}
    for model in sorted(set(lane.models)):
        out.setdefault(target_of(figure, model), []).append(model)
    return out


def _on_step(value: float, step: float) -> float:
    """Round to the step of the gauge."""
    return round(round(value / step) * step, 6)


def _rows(rng: np.random.Generator, card: Card, all_series: list[Series]) -> list[Row]:
    """Measure every piece that passed a card: one row a piece, or one a place."""
    lanes: dict[str, Lane] = {series.lane.name: series.lane for series in all_series}
    rows: list[Row] = []
    for lane in lanes.values():
        here = [series for series in all_series if series.lane is lane]
        values = [draw_values(rng, series) for series in here]
        offsets = [_offsets(rng, series) for series in here]
        kept = [{i for one in series.changes for i in (one.start, one.stop)} for series in here]
        for i, serial in enumerate(lane.serials):
            head: Row = {
                "Serial": serial,
                "Model": lane.models[i],
                "Date": lane.days[i],
                "Person": lane.person[i],
            }
            for gauge, words in lane.gauge.items():
                head[gauge if len(lane.gauge) > 1 else "Gauge"] = words[i]
            if card.tool:
                head["Tool"] = lane.tool[i]
            if card.batch:
                head["Batch"] = lane.batch[i]
            if here[0].figure.places:
                rows += _places(
                    rng, here[0], head, float(values[0][0][i]), float(values[0][1][i]), offsets[0]
                )
                continue
            for series, (true, _), keep in zip(here, values, kept, strict=True):
                blank = len(here) > 1 and i not in keep and rng.random() < 0.006
                head[heading_of(series.figure)] = (
                    None if blank else _reading(series, lane.models[i], float(true[i]))
                )
            if any(head[heading_of(series.figure)] is not None for series in here):
                rows.append(head)
    return sorted(rows, key=lambda row: (int(str(row["Date"])), str(row["Serial"])))


def _offsets(rng: np.random.Generator, series: Series) -> list[float]:
    """Draw how the places of a piece differ for good; together they cancel."""
    drawn = rng.normal(0, 0.3 * series.sd, series.places)
    return [float(value) for value in drawn - drawn.mean()]


def _places(
    rng: np.random.Generator, series: Series, head: Row, true: float, spread: float, offsets: list[float]
) -> list[Row]:
    """Read a piece in all its places but the ones forgotten."""
    grid: list[Row] = [{}]
    for place, values in series.figure.places.items():
        grid = [{**row, place.capitalize(): value} for row in grid for value in values]
    rows: list[Row] = []
    for place_row, offset in zip(grid, offsets, strict=True):
        here = true + offset + spread * float(rng.standard_normal())
        row = {**head, **place_row}
        if rng.random() < 0.015 and rows:
            continue
        if series.lane.card.source == "lacquer":
            three = [
                _reading(series, str(head["Model"]), here + 0.2 * series.sd * float(rng.standard_normal()))
                for _ in "123"
            ]
            row |= {f"R{number}": value for number, value in zip("123", three, strict=True)}
        else:
            row[heading_of(series.figure)] = _reading(series, str(head["Model"]), here)
        rows.append(row)
    return rows


def _reading(series: Series, model: str, true: float) -> str:
    """Read a figure to the step of its gauge, as it is written with a decimal point."""
    figure, step = series.figure, series.step
    if figure.noise == "passfail":
        return "x" if true else "ok"
    target = target_of(figure, model) if figure.noise == "measured" else 0.0
    digits = max(0, len(f"{step:g}".partition(".")[2]))
    return f"{_on_step(target + true, step) + 0.0:.{digits}f}"


def _truth(series: Series) -> dict[str, object]:
    """Say what is true of a series."""
    figure, lane = series.figure, series.lane
    pooled = len(set(lane.models)) > 1 or lane.card.pool == "all"
    deviation = pooled and isinstance(figure.target, dict)
    add = 0.0 if deviation or figure.noise != "measured" else target_of(figure, lane.models[0])
    lower, upper = (
        None if limit is None else round(limit + add, 6) for limit in (series.lower, series.upper)
    )
    changes = [
        {
            "kind": change.kind,
            "first_serial": lane.serials[change.start],
            "last_serial": None if change.stop is None else lane.serials[change.stop],
            "size_sd": change.size,
            "cause": {"kind": change.cause, "value": change.value, "recorded": change.value is not None},
        }
        for change in series.changes
    ]
    return {
        "stage": lane.card.stage,
        "characteristic": figure.id,
        "model": None if pooled else lane.models[0],
        "lane": lane.name,
        "about": "target" if deviation else "zero",
        "noise": series.noise,
        "mean": round(series.mean + add, 6),
        "sd": round(series.sd, 6),
        "lot_share": round(series.lot_share, 3),
        "lot_by": series.lot_by,
        "correlation": round(series.correlation, 3),
        "tails": 5 if series.heavy else None,
        "places": series.places,
        "gauge_step": series.step,
        "lower": lower,
        "upper": upper,
        "true_ppk": true_ppk(series),
        "pieces": len(lane.serials),
        "changes": changes,
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Write the invented workshop Querlohn.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--months", type=int, default=9)
    asked = parser.parse_args()
    make(asked.folder, asked.seed, asked.months)
