"""``/stages``: every stage in route order, each of its series in one line."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.parts import heading, nothing, series_row
from dashboard.routing import Page, address
from qc.jobs.board import SeriesVerdict, StageView


@needs(Role.TECHNICIAN)
def layout(**_: str) -> Component:
    """Return the overview of the stages."""
    board = queries.board()
    stages = board.stages()
    by_stage: dict[str, list[SeriesVerdict]] = {}
    for verdict in board.verdicts():
        by_stage.setdefault(verdict.key.stage, []).append(verdict)
    sections = [_section(stage, by_stage.get(stage.id, [])) for stage in stages]
    under = "In the order of the work. Within a stage the series that needs a look stands first."
    way = dcc.Link("What is worth measuring: cost and gain of each figure", href="/worth")
    more = html.P(way, className="after")
    return html.Div([heading("Stages", under), *sections, more])


def _section(stage: StageView, verdicts: list[SeriesVerdict]) -> Component:
    title = html.H2(dcc.Link(stage.name, href=address("/stages/<stage>", {"stage": stage.id})))
    state = html.P(f"{words.state_of_stage(stage)} · {stage.limits}", className="small")
    body = (
        html.Ul([series_row(verdict) for verdict in verdicts], className="rows")
        if verdicts
        else nothing("Nothing has been measured at this stage yet.")
    )
    return html.Section([html.Div([title, state], className="split"), body], className="card stage-card")


def _title(**_: str) -> str:
    return "Stages"


PAGE = Page("/stages", "/stages", layout, _title, nav="Stages")
