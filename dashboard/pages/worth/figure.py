"""``/worth/<stage>/<characteristic>/<family>``: one figure's worth, and what if it were read otherwise."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from dashboard import queries
from dashboard.door import Role, needs
from dashboard.pages.missing import missing
from dashboard.pages.worth.overview import FIGURE, with_code, worked_out
from dashboard.parts import card, figures, heading, unbroken
from dashboard.routing import Page, series_address
from qc.jobs.board import SeriesKey, WorthRow

ASKED = "worth-asked"
BODY, BEGIN = "worth-figure-body", "worth-series"
ADVICE_WORDS = {
    "keep": "Measure on as it is",
    "measure twice": "Take each reading twice",
    "every second piece": "Measure every second piece",
    "drop": "It need not be measured",
    "finer gauge": "A finer gauge would see more",
    "too early": "Too early to say",
}
FIELDS = (
    ("worth-see", "A change of so many sigma (1 sigma: the usual scatter of a piece)", "1.0"),
    ("worth-within", "To be seen within so many pieces", "5"),
    ("worth-limit", "Or a limit to be tried on the last hundred pieces", ""),
)


@needs(Role.TECHNICIAN)
def layout(stage: str, characteristic: str, family: str, **_: str) -> Component:
    """Return the question and a place for the advice, which is worked out apart."""
    key = SeriesKey(stage, characteristic, family)
    view = queries.board().series(key)
    if view is None:
        return missing("There is no such series in the plan.")
    head = heading(f"{view.verdict.title}: what a reading buys", back=("What is worth measuring", "/worth"))
    return html.Div([head, *worked_out(BODY, BEGIN, str(key)), _question()])


def body_of(row: WorthRow) -> list[Component]:
    """Return the advice for one figure, and its figures."""
    chart = html.P(dcc.Link("Its chart and signals", href=series_address(row.key)))
    facts = figures([(name, unbroken(said)) for name, said in row.facts])
    advice = [html.P(f"{ADVICE_WORDS[row.advice]}.", className="lead"), html.P(with_code(row.because))]
    return [html.Div([card("", *advice, chart), card("In figures", facts)], className="stack")]


def register(app: Dash) -> None:
    """Add the callbacks that work out the advice and answer what is typed."""

    @needs(Role.TECHNICIAN)
    def show(series: str) -> list[Component]:
        """Return the advice for one figure."""
        key = SeriesKey.parse(series)
        return [part for row in queries.board().worth().rows if row.key == key for part in body_of(row)]

    app.callback(Output(BODY, "children"), Input(BEGIN, "data"))(show)

    @needs(Role.TECHNICIAN)
    def answer(
        clicks: int | None, see: str | None, within: str | None, limit: str | None, series: str
    ) -> list[Any]:
        """Return the answer in a sentence; nothing as long as nothing is asked."""
        key = SeriesKey.parse(series)
        return with_code(queries.board().worth_asked(key, see or "", within or "", limit or ""))

    app.callback(
        Output(ASKED, "children"),
        Input("worth-ask", "n_clicks"),
        *[State(field, "value") for field, _, _ in FIELDS],
        State(BEGIN, "data"),
        prevent_initial_call=True,
    )(answer)


def _question() -> Component:
    """Draw the fields of the what-if and the place of its answer."""
    fields = [
        html.Div(
            [
                html.Label(label, htmlFor=field),
                dcc.Input(id=field, type="text", debounce=False, placeholder=example),
            ],
            className="finder",
        )
        for field, label, example in FIELDS
    ]
    said = html.P("", id=ASKED, className="answer", role="status", **{"aria-live": "polite"})
    ask = html.Button("Answer", id="worth-ask", n_clicks=0, className="do")
    return card(
        "What if",
        *fields,
        ask,
        dcc.Loading(said, type="dot"),
        className="no-print below",
    )


def _title(characteristic: str, **_: str) -> str:
    return f"{characteristic}: what a reading buys"


PAGE = Page(FIGURE, "/stages", layout, _title, register=register)
