"""``/group/<stage>/<characteristic>``: one figure of each model between the workshops that make it."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard import queries
from dashboard.door import Role, needs
from dashboard.pages.group.overview import ALONE, FIGURE
from dashboard.pages.missing import missing
from dashboard.parts import card, heading, nothing, table, unbroken
from dashboard.routing import Page
from qc.intervals import interval_words
from qc.jobs.shops import ModelCompared, ShopsCompared, between_words
from qc.words import quantity_words

UNDER = (
    "Each workshop by the pieces of its present state. A workshop that stands apart in few pieces mostly "
    "does so by chance, so each is told drawn towards the others, by as much as its own pieces leave open."
)


@needs(Role.LEAD)
def layout(stage: str, characteristic: str, **_: str) -> Component:
    """Return the comparison, a card for each model."""
    group = queries.group()
    if not group.there():
        return missing(ALONE)
    found = group.compared(f"{stage}/{characteristic}")
    back = ("The group", "/group")
    if isinstance(found, str):
        title = "Workshop beside workshop"
        return html.Div([heading(title, back=back), card("", nothing(found))])
    cards = [*(_card(one) for one in found.models), *_left_out(found)]
    return html.Div([heading(found.name, UNDER, back=back), html.Div(cards, className="stack")])


def _card(one: ModelCompared) -> Component:
    common, apart = between_words(one)
    told = [html.Li(unbroken(shop.sentence)) for shop in one.shops]
    head = ["Workshop", "Pieces", "Mean", "Target", "Off the mean of all"]
    rows = [
        [
            shop.workshop,
            str(shop.pieces),
            quantity_words(shop.mean, one.unit),
            "" if shop.target is None else quantity_words(shop.target, one.unit),
            interval_words(shop.deviation, *shop.interval, one.unit, signed=True),
        ]
        for shop in one.shops
    ]
    caption = f"{one.model_name}, workshop beside workshop; those that differ first"
    return card(
        one.model_name,
        html.P(unbroken(common), className="lead"),
        html.P(unbroken(apart)),
        html.Ul(told, className="sayings"),
        table(head, rows, caption, numbers=(1, 2, 3, 4)),
    )


def _left_out(found: ShopsCompared) -> list[Component]:
    if not found.left_out:
        return []
    return [
        card(
            "Who takes no part",
            html.Ul([html.Li(unbroken(text)) for text in found.left_out], className="sayings"),
        )
    ]


def _title(stage: str, characteristic: str, **_: str) -> str:
    return f"{stage}/{characteristic} in the group"


PAGE = Page(FIGURE, "/group", layout, _title)
