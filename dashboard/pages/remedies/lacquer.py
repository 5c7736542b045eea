"""``/remedies/lacquer/<serial>``: where its lacquer is thin, and the house rule with its figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import html
from dash.development.base_component import Component

from dashboard import queries
from dashboard.door import Role, needs
from dashboard.drawing import Drawing
from dashboard.pages.remedies.addresses import BACK, LACQUER_PAGE, OVERVIEW
from dashboard.pages.remedies.sketches import draw_spots
from dashboard.pages.remedies.words import amount, cautions_card, problem_card, sentence
from dashboard.parts import card, heading, serial_link, table, unbroken
from dashboard.routing import Page

if TYPE_CHECKING:
    from qc.jobs.remedies import CoatResult, Spot


@needs(Role.TECHNICIAN)
def layout(serial: str, **_: str) -> Component:
    """Return the lacquer of one piece."""
    view = queries.board().remedies().lacquer(serial)
    head = heading(f"Lacquer of {serial}", [serial_link(serial)], back=BACK)
    found = view.result
    if found is None:
        return html.Div([head, problem_card(view.problem)])
    lead = [html.P(unbroken(sentence(found.said)), className="lead")]
    if found.cpl is not None and found.interval is not None:
        low, high = found.interval
        lead.append(
            html.P(
                f"Capability at the lower limit {found.cpl:.2f} ({low:.2f} to {high:.2f}).", className="small"
            )
        )
    main = [card("", *lead), _sketch_card(found), _areas_card(found)]
    return html.Div(
        [
            head,
            html.Div(
                [html.Div(main), html.Aside([_rule_card(found), cautions_card(found.cautions)])],
                className="grid first",
            ),
        ]
    )


def state_of(spot: Spot, found: CoatResult) -> str:
    """Return how a spot stands: `thin` under the limit, `low` under the nominal, else nothing."""
    if spot.um < found.lower_um:
        return "thin"
    return "low" if spot.um < found.nominal_um else ""


def _sketch_card(found: CoatResult) -> Component:
    """Draw the spots on their places, with the same as a table."""
    spots = [(spot.area, spot.spot, spot.um, state_of(spot, found)) for spot in found.spots]
    drawing = Drawing(
        draw_spots(spots, queries.narrow_screen()), label="Where each spot lies, and its lacquer"
    )
    said = (
        f"Filled: {found.nominal_um:g} µm or more. Ring: under {found.nominal_um:g}. In colour and bold: "
        f"under the limit of {found.lower_um:g}."
    )
    names = {"thin": f"under {found.lower_um:g}", "low": f"under {found.nominal_um:g}", "": "enough"}
    rows: list[list[Any]] = []
    for area, spot, um, state in spots:
        told: Any = html.B(names[state], className="is-drifting") if state == "thin" else names[state]
        rows.append([area, spot, amount(um, 1), told])
    inner = table(["Area", "Spot", "Lacquer", "It is"], rows, "Micrometres, spot by spot", numbers=(2,))
    return card(
        "Spot by spot",
        drawing,
        html.P(said, className="small"),
        html.Details([html.Summary("As a table"), inner], className="folded", open=queries.narrow_screen()),
    )


def _rule_card(found: CoatResult) -> Component:
    passes = all(rule.passes for rule in found.rules.values())
    verdict = html.P(html.B("Kept" if passes else "Not kept", className="" if passes else "is-drifting"))
    clauses = [html.Li(unbroken(sentence(text))) for text in found.clauses]
    return card("House rule 80/20", verdict, html.Ul(clauses, className="life"))


def _areas_card(found: CoatResult) -> Component:
    rows = [
        [area.area, str(area.n), amount(area.mean, 1), amount(area.least, 1), str(area.below_nominal)]
        for area in found.areas
    ]
    head = ["Area", "Spots", "Mean", "Least", "Under nominal"]
    return card("By area", table(head, rows, "Micrometres", numbers=range(1, 5)))


def _title(serial: str, **_: str) -> str:
    return f"Lacquer of {serial}"


PAGE = Page(LACQUER_PAGE, OVERVIEW, layout, _title)
