"""``/worth``: what a reading of each figure costs and buys, and what could change at the bench."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.parts import card, heading, nothing, table, unbroken
from dashboard.routing import Page, address
from qc.jobs.board import WorthRow, WorthView
from qc.words import count_words

UNDER = (
    "Each reading takes bench time and buys something: that a change is told before it breaks a limit. How "
    "soon is simulated on the shop's own settled figures, by the detector that judges them."
)
WAIT = "Working it out: the first time after an upload that takes some seconds."
FIGURE = "/worth/<stage>/<characteristic>/<family>"
NUMBERS = (1, 2, 3, 4, 5, 6)
BODY, BEGIN = "worth-body", "worth-begin"


@needs(Role.TECHNICIAN)
def layout(**_: str) -> Component:
    """Return the head of the page at once; what has to be worked out follows."""
    return html.Div([heading("What is worth measuring", UNDER), *worked_out(BODY, BEGIN, "all")])


def worked_out(body: str, begin: str, asked: str) -> list[Component]:
    """Return a place for what is worked out, and what sets that going."""
    place = html.Div(nothing(WAIT), id=body, role="status", **{"aria-live": "polite"})
    return [place, dcc.Store(id=begin, data=asked)]


def register(app: Dash) -> None:
    """Add the callback that works it out, so that the page itself does not wait."""

    @needs(Role.TECHNICIAN)
    def show(_: str) -> list[Component]:
        """Return what could change, then every figure."""
        return body_of(queries.board().worth())

    app.callback(Output(BODY, "children"), Input(BEGIN, "data"))(show)


def body_of(view: WorthView) -> list[Component]:
    """Return what could change, then every figure."""
    if not view.rows:
        return [card("", nothing("Nothing is charted yet."))]
    lines = [_told(row) for row in view.rows if not row.stays]
    what = [html.Ul(lines, className="rows")] if lines else []
    first = card("", html.P(headline(view), className="lead"), *what)
    notes = [html.P(with_code(text), className="small") for text in (view.under, *view.notes)]
    every = card("Every figure, the costly ones first", _table(view), *notes)
    return [html.Div([first, every], className="stack")]


def headline(view: WorthView) -> str:
    """Return the whole page in one sentence."""
    change = sum(not row.stays for row in view.rows)
    take = "takes" if len(view.rows) == 1 else "take"
    hours = words.number(view.hours, 1)
    first = f"{count_words(len(view.rows), 'figure')} {take} about {hours} bench hours a month"
    could = f"{change} of them" if change else "none of them"
    return f"{first}; {could} could be measured otherwise."


def worth_address(row: WorthRow) -> str:
    """Return the address of one figure's worth."""
    key = row.key
    return address(FIGURE, {"stage": key.stage, "characteristic": key.characteristic, "family": key.family})


def with_code(sentence: str) -> list[Any]:
    """Set what stands between backticks as code, the rest for reading."""
    parts: list[Any] = []
    for place, part in enumerate(sentence.split("`")):
        parts += [html.Code(part)] if place % 2 else unbroken(part)
    return parts


def _told(row: WorthRow) -> Component:
    link = dcc.Link(row.title, href=worth_address(row), className="name")
    head = html.P([link, html.Span([" ", html.B(row.advice)], className="state")])
    return html.Li(html.Div([head, html.P(with_code(row.because), className="said")]), className="row bare")


def _table(view: WorthView) -> Component:
    # a name that breaks into four lines would make the table three screens long
    rows = [
        [html.Span(dcc.Link(row.title, href=worth_address(row)), className="whole"), *row.cells[1:]]
        for row in view.rows
    ]
    return table(["Figure", *view.head[1:]], rows, "Cost and gain of a reading", numbers=NUMBERS)


def _title(**_: str) -> str:
    return "What is worth measuring"


PAGE = Page("/worth", "/stages", layout, _title, register=register)
