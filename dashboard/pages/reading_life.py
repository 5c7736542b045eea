"""What became of a reading, and the form by which it is put right or taken back."""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import queries
from dashboard.fields import Field, choice, desk_form, line, people, submit
from dashboard.parts import card
from qc.jobs.board import InstrumentReading, Ticket

DONE = "instruments-corrected"
COLUMNS = (
    ("value", "the figure"),
    ("serial", "the serial"),
    ("day", "the day"),
    ("person", "the person"),
    ("gauge", "the gauge"),
    ("tool", "the tool"),
    ("batch", "the batch"),
)
"""What may be typed anew of a reading, the likeliest first."""


def life_of(reading: InstrumentReading) -> Component | str:
    """Return what became of a reading, or the folded way to put it right; its form comes when asked for."""
    if reading.became:
        return html.Span(reading.became, className="small")
    said = f"Put right or take back: {reading.name}, {reading.place or reading.text}"
    return html.Details(
        [
            html.Summary("Put right", **{"aria-label": said}),
            html.Div(id=f"ways-reading-{reading.id}"),
        ],
        className="decide no-print",
        **{"data-asks": f"/readings/{reading.id}/ways", "data-into": f"ways-reading-{reading.id}"},
    )


def corrected_card(found: Ticket | None) -> Component:
    """Return what became of a correction, and what judging anew changed."""
    if found is None:
        return card("Unknown", html.P("The board was started anew since; the readings show what was stored."))
    if found["state"] != "done":
        return card("This was stopped", html.P(found["message"], className="lead"), className="warn")
    receipt = found["receipt"] or {}
    lines = [html.Li(one["sentence"]) for one in receipt.get("reasons", [])]
    return card("Kept", html.P(receipt["sentence"], className="lead"), html.Ul(lines, className="reasons"))


def ways_of(number: int) -> Component:
    """Return the form of one reading: what it should say, who says so and why."""
    body: list[Any] = [
        Field("reading", "hidden", str(number)),
        choice("What is wrong", "column", COLUMNS),
        line("It should say", "value"),
        people(queries.board().shop()),
        line("Why", "why"),
        html.Div(
            [
                submit("Put right", "do", "put-right"),
                submit("It is really so", "do", "sure", **{"aria-label": "Put right although it is doubted"}),
                submit("Take back", "do", "take-back"),
            ],
            className="ways",
        ),
    ]
    note = "A reading taken back counts no more. It stays on record, and so does what it said before."
    form = desk_form(
        "/readings/correct", DONE, body, f"reading-form-{number}", "Keeping it and judging anew …"
    )
    return html.Div([form, html.P(note, className="small")])
