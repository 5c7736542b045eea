"""The board on a past day: which day an address names, how a page says so, and that nothing is written there.

The day stands in the address (``?known=2026-06-30``), so that a link to it says the same to whoever opens it.
What a page asks for later (a callback, a download, a form) comes with the address of that page as its
referrer, which the board's own policy sends to itself alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from urllib.parse import urlencode

from dash import dcc, html
from dash.development.base_component import Component
from flask import Flask, Response, request

from dashboard import queries, words
from dashboard.fields import Field
from dashboard.parts import unbroken
from dashboard.uploads import problem

ASKS: Final = frozenset({"GET", "HEAD", "OPTIONS"})


def guard_past(server: Flask) -> None:
    """Refuse whatever would write while the page it comes from stands on a past day."""
    server.before_request(_refuse_writing)


def _refuse_writing() -> Response | None:
    day = queries.standing_day()
    if day is None or request.method in ASKS or request.path.startswith("/_dash"):
        return None
    return problem(
        f"This page shows what was known on {words.long_day(day)}: nothing is written there. "
        "Go back to today first, and do it there.",
        409,
    )


def chooser() -> Component:
    """Return the field in the page's head that asks for a past day."""
    return html.Form(
        [
            html.Label(
                [html.Span("As it was known on"), Field(queries.KNOWN, "date", "")], className="known"
            ),
            html.Button("Look", type="submit", className="plain"),
        ],
        method="get",
        className="known-form no-print",
        id="known-form",
    )


def banner(path: str) -> list[Component]:
    """Return the line across a page that stands on a past day, with what must be said of it."""
    day = queries.standing_day()
    if day is None:
        return []
    notes = [html.P(unbroken(note), className="small") for note in queries.board().then()]
    said = [
        html.Strong(f"As it was known on {words.long_day(day)}."),
        " Only what had been handed in by then is here, and nothing can be written. ",
        html.A("Back to today", href=path),
    ]
    return [html.Div([html.P(said), *notes], className="card past-banner", role="status", id="past-banner")]


def keep_day(part: Component | Sequence[Component]) -> None:
    """Let every link of a page to the board itself keep the past day that the page stands on."""
    day = queries.standing_day()
    if day is None:
        return
    own = urlencode({queries.KNOWN: day.isoformat()})
    for one in part if isinstance(part, Sequence) else [part]:
        for link in [one, *one._traverse()]:
            href = getattr(link, "href", None)
            if isinstance(link, dcc.Link | html.A) and isinstance(href, str) and href.startswith("/"):
                before, mark, place = href.partition("#")
                link.href = f"{before}{'&' if '?' in before else '?'}{own}{mark}{place}"
