"""``/group``: the workshops that a lead looks over, worst first, each by its own plan and budget."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import pictograms, queries, words
from dashboard.door import Role, needs
from dashboard.drawing import Drawing
from dashboard.pages.missing import missing
from dashboard.parts import card, heading, nothing, unbroken
from dashboard.routing import Page, address
from qc.jobs.shops import ShopStanding, ShopsTogether
from qc.words import command_words, count_words, listed

FIGURE = "/group/<stage>/<characteristic>"
UNDER = (
    "Every workshop of the group, the one to look at first on top. Each is judged by its own plan and "
    "promises its own few false signals; nothing is judged or written from here."
)
ALONE = "This board looks over one workshop. Start it with qc board --group FOLDER to see several."
NOW = "The group is shown as it stands now, whichever day the other pages stand on."


# whoever works at the bench of one shop has no need of the others' troubles
@needs(Role.LEAD)
def layout(**_: str) -> Component:
    """Return every workshop of the group in a few lines."""
    group = queries.group()
    if not group.there():
        return missing(ALONE)
    found = group.standing()
    body: list[Any] = [heading("The group", UNDER)]
    if queries.standing_day() is not None:
        body.append(html.P(NOW, className="small"))
    if not found.workshops:
        return html.Div([*body, card("", nothing(f"There is no workshop in {found.group} any more."))])
    rows = html.Ol([_row(one, found) for one in found.workshops], className="rows")
    cards = html.Div([card(headline(found), rows), _comparing(group.figures())], className="stack")
    return html.Div([*body, cards])


def headline(found: ShopsTogether) -> str:
    """Say in a line how many workshops there are, how many drift, and whether one could not be asked."""
    drifting = sum(one.drifting > 0 for one in found.workshops)
    moved = f"{drifting} with a series that drifts" if drifting else "none with a series that drifts"
    unasked = len(found.faults)
    lost = f", {unasked} could not be asked" if unasked else ""
    several = words.counted(len(found.workshops), "workshop", "workshops").capitalize()
    return f"{several}, {moved}{lost}"


def _row(one: ShopStanding, found: ShopsTogether) -> Component:
    """Draw how one workshop stands, with the way to its own board."""
    look = command_words("board", "--workshop", str(Path(found.group) / one.folder))
    way = html.P(["Its board: ", html.Code(look)], className="said")
    if one.fault:
        name = html.P(
            [html.B(one.folder, className="name"), html.Span("could not be asked", className="is-drifting")]
        )
        told = html.Div([name, html.P(unbroken(one.fault), className="said check")])
        return html.Li([Drawing(pictograms.draw_peak(20)), told], className="row works")
    state = "nothing measured yet" if not one.series else "as it was"
    if one.drifting:
        state = f"{one.drifting} of {count_words(one.series, 'series', 'series')} drifting"
    peak = Drawing(pictograms.draw_peak(20)) if one.drifting else html.Span()
    title = html.P(
        [
            html.B(one.workshop, className="name"),
            html.Span(state, className="is-drifting" if one.drifting else "state"),
        ]
    )
    said = [f"Drifting at {listed(one.stages)}." if one.stages else "", one.worst, one.not_judged, one.budget]
    lines = [html.P(unbroken(text), className="said") for text in said if text]
    return html.Li([peak, html.Div([title, *lines, _waits(one), way])], className="row works")


def _waits(one: ShopStanding) -> Component:
    came = words.day(one.last_hand_in, year=True) if one.last_hand_in else "never"
    counts = [
        ("to hold", str(one.to_hold)),
        ("held rows", str(one.held_rows)),
        ("signals open", str(one.open_signals)),
        ("series outside their limits", str(one.outside)),
        ("last sheet", came),
    ]
    return html.Dl([html.Div([html.Dt(name), html.Dd(told)]) for name, told in counts], className="tally")


def _comparing(shared: tuple[tuple[str, str], ...]) -> Component:
    if not shared:
        return card(
            "One figure, workshop beside workshop",
            nothing("No two workshops measure the same figure of the same model, by the ids of their plans."),
        )
    links = []
    for figure, name in shared:
        stage, characteristic = figure.split("/", 1)
        way = address(FIGURE, {"stage": stage, "characteristic": characteristic})
        links.append(html.Li(dcc.Link(name, href=way)))
    return card("One figure, workshop beside workshop", html.Ul(links, className="alike"))


def _title(**_: str) -> str:
    return "The group"


def _there() -> bool:
    return queries.group().there()


PAGE = Page("/group", "/group", layout, _title, nav="Group", there=_there)
