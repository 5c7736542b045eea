"""``/also/<kind>/<name>``: every piece that a batch, a tool, a gauge or a person touched."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.pages.missing import missing
from dashboard.parts import card, heading, serial_link, table
from dashboard.routing import Page

KINDS = {"batch": "Batch", "tool": "Tool", "gauge": "Gauge", "person": "Person"}

SHOWN = 500
"""Pieces listed; chosen: what a browser shows at once. The command lists all."""


@needs(Role.TECHNICIAN)
def layout(kind: str, name: str, **_: str) -> Component:
    """Return the pieces that something touched, oldest first."""
    found = queries.board().also(kind, name) if kind in KINDS else None
    if found is None:
        return missing(f"No reading and no part on record names {kind} {name}.")
    rows = [
        [serial_link(serial), words.day(day, year=True), where, became]
        for serial, day, where, became in found.pieces[-SHOWN:]
    ]
    caption = words.counted(len(found.pieces), "piece", "pieces")
    caption += f", the newest {SHOWN} of them" if len(found.pieces) > SHOWN else ""
    body = card(
        "",
        html.P(found.sentence[:1].upper() + found.sentence[1:]),
        table(["Serial", "First", "Where", "Now"], rows, caption),
    )
    return html.Div([heading(title(kind, name), back=("Instruments", "/instruments")), body])


def title(kind: str, name: str, **_: str) -> str:
    """Return the title: what it is, and its name."""
    return f"{KINDS.get(kind, 'Not found')} {name}"


PAGE = Page("/also/<kind>/<name>", "/instruments", layout, title)
