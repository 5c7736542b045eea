"""Make the invented workshop Pelderwick: a busy shop of eight people, six models, 40 to 60 pieces a month.

`python make.py FOLDER --seed N [--months M]` writes plan.yaml, hand_in/DAY/CARD_DAY.csv (or .xlsx) and
truth.json. Everything follows from the seed: which figures are pooled, how each series scatters, what happens
to it and when.
"""

import argparse
import datetime as dt
import itertools
import json
import math
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

sys.path.append(str(Path(__file__).resolve().parent))
from pelderwick_noise import Entry, Floats, Series, draw_changes, give_noise, truth_of, unchanged
from pelderwick_paper import Row, Style, digits, draw_style, write_plan, write_sheet
from pelderwick_shop import (
    CARDS,
    FIGURES,
    MODELS,
    NAME,
    NEWCOMER,
    PREFIX,
    STAGES,
    Card,
    Figure,
    card_of,
    model_of,
    target_of,
)

HABITS = ("daily", "weekly", "at once")


@dataclass
class Shop:
    """The days and pieces of one seed's workshop."""

    start: dt.date
    days: list[dt.date]
    days_off: list[dt.date]
    pieces: list[tuple[str, str, int, int]]  # serial, model, run of its model, day on which it was begun
    habit: str
    joined: int
    fitted: dict[str, int] = field(default_factory=dict)
    calibrated: dict[str, list[dt.date]] = field(default_factory=dict)


def _open_shop(months: int, rng: np.random.Generator) -> Shop:
    """Draw the calendar and the pieces, made in short runs of one model."""
    start = dt.date(2025, 1, 6) + dt.timedelta(weeks=int(rng.integers(0, 12)))
    span = [start + dt.timedelta(days=i) for i in range(round(30.44 * months))]
    weekdays = [day for day in span if day.weekday() < 5]
    off = [weekdays[int(i)] for i in rng.integers(5, len(weekdays), size=max(1, months // 2))]
    if months >= 6:  # the shop shuts for a week
        week = int(rng.integers(60, len(weekdays) - 30))
        off += weekdays[week : week + 5]
    days = [day for day in weekdays if day not in off]
    volumes = np.array([rng.uniform(*model.volume) for model in MODELS])
    volumes *= float(np.clip(volumes.sum(), 40, 60)) / volumes.sum()
    total = round(float(volumes.sum()) * months)
    lengths = np.array([2.0 if volume < 5 else 4.0 for volume in volumes])
    chances = volumes / lengths
    models: list[tuple[str, int]] = []
    for run in itertools.count():
        if len(models) >= total:
            break
        i = int(rng.choice(len(MODELS), p=chances / chances.sum()))
        models += [(MODELS[i].id, run)] * int(rng.integers(lengths[i] - 1, lengths[i] + 2))
    first = int(rng.integers(1100, 4000))
    pieces = [
        (f"{PREFIX}-{first + i}", model, run, min(len(days) - 1, int(i / total * len(days))))
        for i, (model, run) in enumerate(models[:total])
    ]
    habit = str(rng.choice(HABITS))
    joined = int(len(days) * rng.uniform(0.3, 0.6))
    shop = Shop(start, days, sorted(set(off)), pieces, habit, joined)
    for card in CARDS:
        if card.tools is not None and card.tools[2]:
            shop.fitted[card.tools[2]] = int(len(days) * rng.uniform(0.35, 0.7))
        for gauge in itertools.chain.from_iterable(card.gauges.values()):
            if rng.random() < 0.3:
                shop.calibrated[gauge] = [days[int(len(days) * rng.uniform(0.3, 0.8))]]
    return shop


def _fill_cards(
    card: Card, shop: Shop, late: dict[tuple[int, str], int], rng: np.random.Generator
) -> list[Entry]:
    """Say which piece comes to this card on which day, by whom, with what; a card in 150 is lost."""
    coming: list[tuple[int, str, str]] = []
    for serial, model, run, begun in shop.pieces:
        day = begun + STAGES[card.stage][1] + late[run, card.stage] + card.lag
        if day < len(shop.days) and (not card.models or model in card.models) and rng.random() > 1 / 150:
            coming.append((day, serial, model))
    coming.sort()
    entries: list[Entry] = []
    lots: dict[str, tuple[str, str, int]] = {}
    numbers = itertools.count(int(rng.integers(1, 60)))
    for day, group in itertools.groupby(coming, key=lambda each: each[0]):
        pieces = list(group)
        there = [code for code in card.people if code != NEWCOMER or day >= shop.joined]
        today = [str(code) for code in rng.permutation(there)[: 2 if rng.random() < 0.3 else 1]]
        gauges = {kind: str(rng.choice(ids)) for kind, ids in card.gauges.items()}
        for i, (_, serial, model) in enumerate(pieces):
            key = model_of(model).family if card.together == "family" else "all"
            batch, tool, left = lots.get(key, ("", "", 0))
            tools: list[str] = []
            if card.tools is not None:
                _, old, new = card.tools
                tools = [*old[:-1], new] if new and day >= shop.fitted[new] else list(old)
            if left == 0 or (tools and tool not in tools):
                batch, left = f"{card.batch}-{next(numbers):03d}", int(rng.integers(4, 9))
                tool = str(rng.choice(tools)) if tools else ""
            lots[key] = (batch, tool, left - 1)
            person = today[i * len(today) // len(pieces)]
            entries.append(Entry(serial, model, day, person, gauges, tool, batch if card.batch else ""))
    return entries


def _stage_batches(entries: dict[str, list[Entry]]) -> dict[tuple[str, str], str]:
    """Give the batch of each piece at each stage; it stands on one card of the stage."""
    found: dict[tuple[str, str], str] = {}
    for card in CARDS:
        for entry in entries[card.id]:
            if entry.batch:
                found[card.stage, entry.serial] = entry.batch
    return found


def _groups(pool: str, models: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Say which models share a chart."""
    groups: dict[str, tuple[str, ...]] = {}
    for model in models:
        key = {"all": "all", "family": model_of(model).family, "model": model}[pool]
        groups[key] = (*groups.get(key, ()), model)
    return groups


def _series_of(
    figure: Figure, entries: list[Entry], batches: dict[tuple[str, str], str], rng: np.random.Generator
) -> list[Series]:
    """Draw how a figure is pooled, read and limited, and the noise of each of its series."""
    card = card_of(figure)
    pool, step = str(rng.choice(figure.pools)), float(rng.choice(figure.steps))
    kept = card.tools is not None and not card.tools[2]
    made: list[Series] = []
    for group, models in _groups(pool, card.models or tuple(model.id for model in MODELS)).items():
        own = [entry for entry in entries if entry.model in models]
        noise = str(rng.choice(figure.noises))
        sd = round(figure.sd * float(rng.uniform(0.85, 1.2)), 5)
        mean = target_of(figure, models[0])
        if noise == "counts":
            mean = round(mean * float(rng.uniform(0.7, 1.3)), 3)
            sd = math.sqrt(mean)
        elif noise == "passfail":
            sd = math.sqrt(mean * (1 - mean))
        elif noise != "skewed":
            mean = round(mean + sd * float(rng.uniform(-0.35, 0.35)), 5)
        lots = [batches.get((card.stage, entry.serial), "") for entry in own]
        series = Series(figure, pool, group, models, own, lots, mean, sd, step, noise)
        series.add, series.scale = np.zeros(len(own)), np.ones(len(own))
        if figure.limits:
            width = rng.uniform(2.5, 5.5) if noise == "skewed" else 3 * rng.uniform(0.75, 1.7)
            series.half_width = round(max(2 * step, math.ceil(float(width) * sd / step) * step), 4)
        if own:
            give_noise(series, kept, rng)
        made.append(series)
    return made


def _values(series: Series, rng: np.random.Generator) -> Floats:
    """Give the readings of each piece, places along the second axis, rounded to the gauge's step."""
    n, places = len(series.entries), math.prod(len(values) for values in series.figure.places.values())
    if series.noise == "counts":
        rate = np.maximum(0.1, series.mean + series.sd * series.add)
        return np.asarray(rng.poisson(rate)[:, None], dtype=np.float64)
    if series.noise == "passfail":
        chance = np.clip(series.mean + series.sd * series.add, 0, 0.9)
        return np.asarray((rng.random(n) < chance)[:, None], dtype=np.float64)
    figure, first = series.figure, target_of(series.figure, series.models[0])
    level = np.array([target_of(figure, entry.model) for entry in series.entries]) + series.mean - first
    piece = level + series.sd * (series.scale * unchanged(series, rng) + series.add)
    pattern = rng.normal(0, 0.8 * series.sd, places) if places > 1 else np.zeros(1)
    spread = series.sd * math.sqrt(series.within * places) * series.scale[:, None]
    readings = piece[:, None] + (pattern - pattern.mean())[None, :] + spread * rng.normal(size=(n, places))
    rounded = np.round(readings / series.step) * series.step
    return np.asarray(rounded if figure.unit == "cent" else np.maximum(rounded, 0.0), dtype=np.float64)


def _text(figure: Figure, value: float, step: float) -> str:
    """Write a figure as it is read."""
    if figure.kind == "pass-fail":
        return "fault" if value else "ok"
    return f"{value:.{digits(step)}f}"


def _rows_of(
    card: Card, entries: list[Entry], series: list[Series], shop: Shop, rng: np.random.Generator
) -> list[Row]:
    """Write the rows of one kind of card in order; one place in 60 was left out."""
    read: dict[str, dict[str, str]] = {}
    for each in series:
        places = list(itertools.product(*each.figure.places.values()))
        for entry, values in zip(each.entries, _values(each, rng), strict=True):
            for place, value in zip(places, values, strict=True):
                read.setdefault(f"{entry.serial}/{'/'.join(place)}", {})[
                    each.figure.heading or each.figure.name
                ] = _text(each.figure, float(value), each.step)
    stations = series[0].figure.places
    rows: list[Row] = []
    for entry in entries:
        for spot in itertools.product(*stations.values()):
            figures = dict(read[f"{entry.serial}/{'/'.join(spot)}"])
            if (stations or len(figures) > 1) and rng.random() < 1 / 60:
                del figures[str(rng.choice(list(figures)))]
            if not figures:
                continue
            row: Row = {"Date": shop.days[entry.day], "Serial": entry.serial, "Model": entry.model}
            row["Person"] = entry.person
            if len(entry.gauges) == 1:
                row["Gauge"] = next(iter(entry.gauges.values()))
            else:
                row.update({kind.capitalize(): gauge for kind, gauge in entry.gauges.items()})
            if entry.tool:
                row["Tool"] = entry.tool
            if entry.batch:
                row["Batch"] = entry.batch
            row.update({name.capitalize(): value for name, value in zip(stations, spot, strict=True)})
            row.update({f"#{name}": text for name, text in figures.items()})
            rows.append(row)
    return rows


def _wrong(rows: list[Row], series: list[Series], rng: np.random.Generator) -> tuple[list[Row], Row] | None:
    """Give the rows with one figure a step off, as first handed in, and what was wrong."""
    each = series[int(rng.integers(len(series)))]
    column = f"#{each.figure.heading or each.figure.name}"
    at = int(rng.integers(len(rows)))
    if each.figure.kind != "measured" or column not in rows[at]:
        return None
    right = str(rows[at][column])
    slipped = f"{float(right) + each.step:.{digits(each.step)}f}"
    first = [dict(row) for row in rows]
    first[at][column] = slipped
    return first, {"serial": rows[at]["Serial"], "figure": each.figure.id, "first": slipped, "right": right}


def _hand_in(
    folder: Path, card: Card, rows: list[Row], series: list[Series], shop: Shop, rng: np.random.Generator
) -> list[Row]:
    """Write the sheets of one kind of card as the shop's habit is; some late, a few corrected later."""
    style: Style = draw_style(rng)
    habit = "weekly" if shop.habit == "daily" and rng.random() < 0.15 else shop.habit

    def unit(row: Row) -> Any:
        day: dt.date = row["Date"]
        return {"daily": day, "weekly": day.isocalendar()[:2], "at once": day.replace(day=1)}[habit]

    corrected: list[Row] = []
    for _, group in itertools.groupby(rows, key=unit):
        sheet = list(group)
        last: dt.date = sheet[-1]["Date"]
        handed = last
        if habit == "at once":
            handed = shop.days[-1]
        elif habit == "weekly":
            handed = last + dt.timedelta(days=max(0, 4 - last.weekday()))
        if habit != "at once" and rng.random() < 0.04:
            handed += dt.timedelta(days=int(rng.integers(2, 9)))
        name = f"{card.id}_{last.isoformat()}"
        wrong = _wrong(sheet, series, rng) if rng.random() < (0.004 if habit == "daily" else 0.02) else None
        if wrong is None:
            write_sheet(folder / handed.isoformat() / name, card, sheet, style)
            continue
        again = handed + dt.timedelta(days=int(rng.integers(1, 5)))
        write_sheet(folder / handed.isoformat() / name, card, wrong[0], style)
        write_sheet(folder / again.isoformat() / f"{name}_corrected", card, sheet, style)
        corrected.append({"card": card.id, "handed_in": again.isoformat(), **wrong[1]})
    return corrected


def make(folder: Path, seed: int, months: int = 9) -> None:
    """Write the workshop of a seed into a folder: plan, sheets by the day they were handed in, and the truth.

    Parameters
    ----------
    folder : Path
        Made if it is not there; best empty.
    seed : int
        Every seed is another workshop.
    months : int
        How long the shop is watched.
    """
    rng = np.random.default_rng([seed, 7_219])
    shop = _open_shop(months, rng)
    late = {(run, stage): int(rng.integers(0, 3)) for run in range(len(shop.pieces)) for stage in STAGES}
    entries = {card.id: _fill_cards(card, shop, late, rng) for card in CARDS}
    batches = _stage_batches(entries)
    of_figure = {figure.id: _series_of(figure, entries[figure.card], batches, rng) for figure in FIGURES}
    every = list(itertools.chain.from_iterable(of_figure.values()))
    # Half of all series change; the others, and all that are too short, are where false signals are counted.
    long_enough = [series for series in every if len(series.entries) >= 40]
    for i in rng.permutation(len(long_enough))[: round(len(every) / 2)]:
        tools = card_of(long_enough[i].figure).tools
        draw_changes(long_enough[i], tools[2] if tools is not None else "", rng)
    folder.mkdir(parents=True, exist_ok=True)
    corrected: list[Row] = []
    for card in CARDS:
        own = [series for figure in FIGURES if figure.card == card.id for series in of_figure[figure.id]]
        rows = _rows_of(card, entries[card.id], own, shop, rng)
        corrected += _hand_in(folder / "hand_in", card, rows, own, shop, rng)
    _mark_recalibrations(every, entries, shop)
    events = {
        "start": shop.start,
        "joined": shop.days[shop.joined],
        "fitted": {tool: shop.days[day] for tool, day in shop.fitted.items()},
        "calibrated": shop.calibrated,
    }
    says = {figure.id: bool(rng.random() < 0.7) for figure in FIGURES}
    write_plan(folder / "plan.yaml", every, shop.days_off, events, says)
    truth = {
        "workshop": NAME,
        "months": months,
        "seed": seed,
        "habit": shop.habit,
        "first_day": shop.days[0].isoformat(),
        "last_day": shop.days[-1].isoformat(),
        "corrected": corrected,
        "series": [truth_of(series) for series in every if series.entries],
    }
    (folder / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")


def _mark_recalibrations(every: list[Series], entries: dict[str, list[Entry]], shop: Shop) -> None:
    """Where a gauge that was off reads true again, it was calibrated the day after its last wrong reading."""
    for series in every:
        for change in series.changes:
            if change["cause"]["kind"] == "gauge" and change["last_serial"] is not None:
                day = next(e.day for e in series.entries if e.serial == change["last_serial"])
                after = shop.days[min(day + 1, len(shop.days) - 1)]
                shop.calibrated.setdefault(change["cause"]["value"], []).append(after)


def main() -> None:
    """Make a workshop from the command line."""
    parser = argparse.ArgumentParser(description="Make the invented workshop Pelderwick.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--months", type=int, default=9)
    given = parser.parse_args()
    make(given.folder, given.seed, given.months)


if __name__ == "__main__":
    main()
