"""Held rows: which of them are shown, and what was decided of late, with the way to take it back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.fields import Field, choice, desk_form, line, submit, switches
from dashboard.parts import nothing
from qc.jobs.board import HeldView

CHOSEN = "sheets-held-chosen"
AGES = {"1": "the last day", "7": "the last week", "31": "the last month", "-31": "over a month ago"}
"""How long ago a row was handed in [day], in words; less than nothing: longer ago than that."""


def held_filter(rows: Sequence[HeldView]) -> Component:
    """Return the choice of what is shown: bench, sheet, reason, age; nothing where one page holds it all."""
    reasons = sorted({reason.id for row in rows for reason in row.reasons})
    asked = (
        ("Bench", "card", [(one, one) for one in _each(row.card for row in rows)], "all benches"),
        ("Sheet", "file", [(one, one) for one in _each(row.file for row in rows)], "all sheets"),
        ("Reason", "reason", [(one, one.replace("-", " ")) for one in reasons], "all reasons"),
        ("Handed in", "age", list(AGES.items()), "at any time"),
    )
    fields = [choice(label, name, options, ask=every) for label, name, options, every in asked]
    return switches(CHOSEN, [html.Div(fields, className="ways")], "sheets-held-filter")


def those_chosen(
    rows: Sequence[HeldView], chosen: dict[str, list[str]] | None, now: datetime
) -> tuple[HeldView, ...]:
    """Return the rows that fit what was chosen of bench, sheet, reason and age."""
    wanted = {name: values[0] for name, values in (chosen or {}).items() if values and values[0]}
    return tuple(row for row in rows if _fits(row, wanted, now))


def decided_fold() -> Component:
    """Return the folded list of what was decided of late; it comes when asked for, as it then stands."""
    return html.Details(
        [html.Summary("Undo a decision"), html.Div(id="sheets-decided")],
        className="decide no-print",
        **{"data-asks": "/held/decided", "data-into": "sheets-decided", "data-anew": "yes"},
    )


def decided_list() -> Component:
    """Return what was decided of late, the newest first, each with the way to take it back."""
    found = queries.board().decided()
    if not found:
        return nothing("Nothing was decided of late.")
    lines = []
    for one in found:
        by = f" by {one.who}" if one.who else ""
        became = "set aside" if one.state == "dropped" else "accepted"
        told = html.P([html.B(one.what), f" “{one.text}” was {became}{by}, {words.day(one.day, year=True)}."])
        body: list[Any] = [
            Field("undone", "hidden", one.row),
            line("Why", "why"),
            submit("Undo", "do", "undo", **{"aria-label": f"Undo: {one.what}"}),
        ]
        form = desk_form("/held/undo", "sheets-done", body, f"sheets-undo-{one.row}")
        lines.append(html.Li([told, form]))
    return html.Ul(lines, className="held")


def _each(names: Iterable[str]) -> list[str]:
    return sorted({name for name in names if name})


def _fits(row: HeldView, wanted: dict[str, str], now: datetime) -> bool:
    if wanted.get("card", row.card) != row.card or wanted.get("file", row.file) != row.file:
        return False
    if "reason" in wanted and wanted["reason"] not in {reason.id for reason in row.reasons}:
        return False
    if wanted.get("age") not in AGES or row.entered is None:
        return True
    days = int(wanted["age"])
    since = now.astimezone(UTC) - timedelta(days=abs(days))
    return row.entered >= since if days > 0 else row.entered < since
