"""The papers of Pelderwick: its measuring plan, and the sheets its benches hand in."""

import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import yaml
from pelderwick_noise import Series
from pelderwick_shop import CARDS, CAUTIONS, FIGURES, MODELS, NEWCOMER, PEOPLE, PREFIX, STAGES, Card, Figure

Row = dict[str, Any]
MADE = dt.datetime(2025, 1, 1)  # the same day in every workbook: the same seed, the same file


@dataclass
class Style:
    """How one kind of card is written down."""

    separator: str
    comma: bool
    dotted: bool
    head: bool
    workbook: bool


def draw_style(rng: np.random.Generator) -> Style:
    """Draw how a bench writes its card."""
    separator, comma = [(";", True), (";", False), (",", False), ("\t", False), ("\t", True)][
        int(rng.integers(5))
    ]
    return Style(
        separator, comma, bool(rng.random() < 0.5), bool(rng.random() < 0.5), bool(rng.random() < 0.25)
    )


def digits(step: float) -> int:
    """Decimal places of a gauge step."""
    text = f"{step:.3f}".rstrip("0")
    return len(text.partition(".")[2])


# -------------------------------------------------------------------------------- the plan


def _limits(series: Sequence[Series]) -> list[dict[str, Any]]:
    """Give the limits of a figure, one entry for each model and figure."""
    entries: list[dict[str, Any]] = []
    for each in series:
        lower, upper = each.limits()
        for model in each.models:
            target = each.figure.targets[0]
            if len(each.figure.targets) > 1:
                target = each.figure.targets[[m.id for m in MODELS].index(model)]
            entry: dict[str, Any] = {"target": target}
            if lower is not None:
                entry["lower"] = round(target + lower, 4)
            if upper is not None:
                entry["upper"] = round(target + upper, 4)
            entries.append({**entry, "models": [model]})
    return entries


def _figure_in_plan(
    figure: Figure, series: Sequence[Series], say_step: bool, models: Sequence[str]
) -> list[Any]:
    """Give a figure as the plan writes it; a slide clearance is written twice, as read and as charted."""
    entry: dict[str, Any] = {"id": figure.id, "name": figure.name, "unit": figure.unit}
    if figure.kind != "measured":
        entry["kind"] = figure.kind
    if models:
        entry["models"] = list(models)
    if figure.limits:
        entry["limits"] = _limits(series)
    entry["pool"] = series[0].pool
    read: dict[str, Any] = {}
    if figure.places:
        read["places"] = {name: list(values) for name, values in figure.places.items()}
    if figure.gauge:
        read["gauge_class"] = figure.gauge
        if say_step:
            read["resolution"] = series[0].step
    if figure.id == "clearance":
        as_read = {
            "id": "clearance_read",
            "name": "Clearance as read",
            "unit": "um",
            "charted": False,
            **read,
        }
        return [as_read, {**entry, "derive": {"what": "clearance"}}]
    return [{**entry, **read}]


def write_plan(
    path: Path,
    series: Sequence[Series],
    days_off: Sequence[dt.date],
    events: dict[str, Any],
    says: dict[str, bool],
) -> None:
    """Write plan.yaml; `events` gives start, newcomer's day, days of new tools and calibrations."""
    start: dt.date = events["start"]
    steps: dict[str, float] = {}
    for each in series:
        if each.figure.gauge:
            key = f"{each.figure.card}/{each.figure.gauge}"
            steps[key] = min(each.step, steps.get(key, 1e9))
    units = {f"{figure.card}/{figure.gauge}": figure.unit for figure in FIGURES}
    stages: list[dict[str, Any]] = []
    for stage, (name, _) in STAGES.items():
        figures: list[Any] = []
        for figure in FIGURES:
            card = next(card for card in CARDS if card.id == figure.card)
            if card.stage == stage:
                own = [each for each in series if each.figure is figure]
                figures += _figure_in_plan(figure, own, says[figure.id], card.models)
        entry: dict[str, Any] = {"id": stage, "name": name, "characteristics": figures}
        if stage in CAUTIONS:
            entry["cautions"] = [CAUTIONS[stage]]
        stages.append(entry)
    gauges: list[dict[str, Any]] = []
    tools: list[dict[str, Any]] = []
    cards: list[dict[str, Any]] = []
    for card in CARDS:
        for kind, ids in card.gauges.items():
            key = f"{card.id}/{kind}"
            for i in ids:
                days = sorted({start - dt.timedelta(days=40), *events["calibrated"].get(i, [])})
                gauges.append(
                    {
                        "id": i,
                        "name": f"{kind.capitalize()} {i}",
                        "gauge_class": kind,
                        "unit": units[key],
                        "resolution": steps[key],
                        "calibrated": days,
                    }
                )
        if card.tools is not None:
            kind, first, new = card.tools
            tools += [{"id": i, "name": f"{kind.capitalize()} {i}", "tool_class": kind} for i in first]
            if new:
                fitted = events["fitted"][new]
                tools.append(
                    {"id": new, "name": f"{kind.capitalize()} {new}", "tool_class": kind, "fitted": fitted}
                )
                tools[-2]["removed"] = fitted
        entry = {"id": card.id, "title": card.title, "source": card.source, "stage": card.stage}
        read = [figure.id for figure in FIGURES if figure.card == card.id]
        entry["characteristics"] = ["clearance_read" if i == "clearance" else i for i in read]
        cards.append(entry)
    people: list[dict[str, Any]] = [{"code": code, "name": f"Bench {i + 1}"} for i, code in enumerate(PEOPLE)]
    people[PEOPLE.index(NEWCOMER)]["joined"] = events["joined"]
    models = [
        {
            "id": m.id,
            "name": m.name,
            "family": m.family,
            "pedal_midi": m.midi,
            "length_mm": m.length_mm,
            "valves": [
                {"name": v, "added_mm": mm, **({"depends_on": on} if on else {})} for v, mm, on in m.valves
            ],
        }
        for m in MODELS
    ]
    plan = {
        "workshop": {
            "name": "Pelderwick Slide Brass",
            "serial_prefix": PREFIX,
            "days_off": ["sat", "sun", *days_off],
        },
        "models": models,
        "stages": stages,
        "gauges": gauges,
        "people": people,
        "tools": tools,
        "cards": cards,
        "causes": ["tool worn", "gauge off", "material", "handling", "unknown"],
    }
    # Through json, so that no list is shared: the plan may not refer back to another part of itself.
    bare = json.loads(json.dumps(plan, default=str))
    path.write_text(yaml.safe_dump(bare, sort_keys=False, allow_unicode=True, width=110), encoding="utf-8")


# -------------------------------------------------------------------------------- the sheets


def _cell(column: str, value: Any, style: Style) -> Any:
    """Write one cell as the bench does."""
    if isinstance(value, dt.date):
        if style.workbook:
            return dt.datetime(value.year, value.month, value.day)
        return value.strftime("%d.%m.%Y") if style.dotted else value.isoformat()
    text = str(value)
    if column.startswith("#"):
        if style.workbook and text.replace(".", "").replace("-", "").isdigit():
            return float(text)
        return text.replace(".", ",") if style.comma else text
    return text


def write_sheet(path: Path, card: Card, rows: Sequence[Row], style: Style) -> None:
    """Write one sheet: a head, a blank row, a table. Columns that begin with # are figures."""
    columns = list(dict.fromkeys(column for row in rows for column in row))
    head: list[list[Any]] = [["Card", card.title if style.head else card.id]]
    if style.head:
        for column in ("Date", "Person", "Gauge"):
            if column in columns and len({row[column] for row in rows}) == 1:
                head.append([column, _cell(column, rows[0][column], style)])
                columns.remove(column)
    names = [column.removeprefix("#") for column in columns]
    table = [[_cell(column, row.get(column, ""), style) for column in columns] for row in rows]
    path.parent.mkdir(parents=True, exist_ok=True)
    if style.workbook:
        lines = [*head, [], names, *table]
        width = max(2, len(names))
        grid = pd.DataFrame([[*line, *[None] * (width - len(line))] for line in lines], dtype=object)
        with pd.ExcelWriter(
            path.with_suffix(".xlsx"),
            engine="xlsxwriter",
            datetime_format="yyyy-mm-dd",
            engine_kwargs={"options": {"in_memory": True}},
        ) as book:
            book.book.set_properties({"created": MADE})
            grid.to_excel(book, sheet_name="Sheet", header=False, index=False)
        return
    lines = [*head, [], names, *table]
    text = "\n".join(style.separator.join(str(cell) for cell in line) for line in lines)
    path.with_suffix(".csv").write_text(text + "\n", encoding="utf-8")
