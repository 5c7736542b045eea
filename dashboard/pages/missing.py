"""What is shown where there is nothing: one sentence and a way back."""

from __future__ import annotations

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.parts import card, heading


def missing(sentence: str = "There is no page at this address.", *more: Any) -> Component:
    """Return a page that says what was not found, and what may be meant instead."""
    back = html.P(dcc.Link("Back to today", href="/"))
    return html.Div(
        [heading("Not found"), card("", html.P(sentence), *([html.P(list(more))] if more else []), back)]
    )
