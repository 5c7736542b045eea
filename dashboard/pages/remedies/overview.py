"""``/remedies``: the four remedies of the workshop, each with its first sentence."""

from __future__ import annotations

from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import queries
from dashboard.door import Role, needs
from dashboard.pages.remedies.addresses import DIES, LACQUER_PAGE, OVERVIEW, RACK, TUNING
from dashboard.pages.remedies.words import sentence
from dashboard.parts import card, heading, nothing, unbroken
from dashboard.routing import Page, address
from qc.jobs.board import LACQUER, NOTES, RackView

SHOWN_PIECES = 8
"""Newest pieces named on the overview; the rest are reached from their own pages."""


@needs(Role.TECHNICIAN)
def layout(**_: str) -> Component:
    """Return the four remedies, each with what it says first."""
    answers = queries.board().remedies()
    rack, dies = answers.rack(), answers.dies()
    first = [tool.said for _, _, found in dies.results for tool in found.urgent_first[:1]]
    cards = [
        card("Tuning", *_pieces("What to cut, and where, from the notes of a piece.", NOTES, TUNING)),
        card(
            "Rack",
            *[html.P(unbroken(_first_of(view))) for view in rack],
            html.P(dcc.Link("Pair the tubes that wait", href=RACK)),
        ),
        card(
            "Dies",
            *[html.P(unbroken(sentence(said))) for said in first or [dies.problem]],
            html.P(dcc.Link("Every die, and when to change it", href=DIES)),
        ),
        card("Lacquer", *_pieces("Where it is thin, spot by spot.", LACQUER, LACQUER_PAGE)),
    ]
    head = heading("Remedies", "What to do, in the order of doing it. Nothing here is stored.")
    return html.Div([head, html.Div(cards, className="stack")])


def _first_of(view: RackView) -> str:
    if view.result is None:
        return view.problem
    return f"{view.model}: {view.result.said}." if view.model else sentence(view.result.said)


def _pieces(said: str, figure: str, page: str) -> Sequence[Component]:
    """List the newest pieces that have the readings for a remedy."""
    serials = queries.board().remedies().pieces(figure)[:SHOWN_PIECES]
    if not serials:
        return [html.P(said), nothing("No piece has such readings yet. Upload its card first.")]
    links = [
        html.Li(dcc.Link(serial, href=address(page, {"serial": serial}), className="serial"))
        for serial in serials
    ]
    return [
        html.P(said),
        html.P(
            [
                "The newest pieces; any other has the way to it on ",
                dcc.Link("its page", href="/instruments"),
                ".",
            ],
            className="small",
        ),
        html.Ul(links, className="files"),
    ]


def _title(**_: str) -> str:
    return "Remedies"


PAGE = Page(OVERVIEW, OVERVIEW, layout, _title, nav="Remedies")
