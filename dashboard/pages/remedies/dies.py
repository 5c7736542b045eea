"""``/remedies/dies``: every die in use, its line, and when to change it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import html
from dash.development.base_component import Component

from dashboard import queries
from dashboard.door import Role, needs
from dashboard.drawing import Drawing
from dashboard.pages.remedies.addresses import BACK, DIES, OVERVIEW
from dashboard.pages.remedies.sketches import draw_die
from dashboard.pages.remedies.words import amount, cautions_card, problem_card, sentence
from dashboard.parts import card, heading, table, unbroken
from dashboard.routing import Page

if TYPE_CHECKING:
    from qc.jobs.remedies import ToolWear, WearResult


@needs(Role.TECHNICIAN)
def layout(**_: str) -> Component:
    """Return every die with its line, the next to be changed first."""
    view = queries.board().remedies().dies()
    head = heading(
        "Dies",
        "The next to be changed first, at the pace of the quarter up to each one's newest piece.",
        back=BACK,
    )
    cards: list[Component] = [problem_card(view.problem)] if view.problem else []
    cautions: list[Component] = []
    for name, unit, found in view.results:
        cards += [_die(tool, unit) for tool in found.urgent_first]
        said = [html.P(unbroken(f"{text}."), className="small") for text in found.taken]
        cards.append(card(f"{name} in figures", *said, _table(found, unit)))
        cautions = [cautions_card(found.cautions)]
    return html.Div(
        [
            head,
            html.Div(
                [html.Div(cards), *([html.Aside(cautions)] if cautions else [])], className="grid first"
            ),
        ]
    )


def _die(tool: ToolWear, unit: str) -> Component:
    drawing = draw_die(tool, unit, queries.narrow_screen())
    # the first sentence says already why there is no line
    warnings = tool.warnings if tool.line is not None else ()
    told = [html.P(unbroken(sentence(text)), className="small") for text in warnings]
    label = f"{tool.tool or 'The tool'}: {tool.n} pieces along its count"
    return card(
        "",
        html.P(unbroken(sentence(tool.said)), className="lead"),
        *([Drawing(drawing, label=label)] if drawing else []),
        *told,
    )


def _table(found: WearResult, unit: str) -> Component:
    """Draw the dies, the most urgent first; one without a proven line gets no day."""
    rows = []
    for tool in found.urgent_first:
        line = tool.line
        if line is None:
            rows.append([tool.tool, str(tool.n), "", "", "", "", "", ""])
            continue
        slope, low, high = (
            amount(100 * value, 4, signed=True) for value in (line.slope, *line.slope_interval)
        )
        left = "" if line.change_by_count is None else str(int(line.change_by_count - line.last_count))
        rows.append(
            [
                tool.tool,
                str(tool.n),
                f"{line.last_count:g}",
                f"{slope} ({low} to {high})",
                "" if line.limit is None else f"{line.limit:g}",
                "" if line.change_by_count is None or not line.proven else str(line.change_by_count),
                left if line.proven else "",
                tool.lasts,
            ]
        )
    head = ["Die", "Pieces", "Draws", "In 100 draws", "Limit", "Change by", "Left", "That lasts"]
    return table(head, rows, f"Draws since it was fitted; the figure in {unit}", numbers=range(1, 7))


def _title(**_: str) -> str:
    return "Dies"


PAGE = Page(DIES, OVERVIEW, layout, _title)
