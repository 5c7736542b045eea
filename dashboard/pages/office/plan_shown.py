"""``/plan`` and ``/plan/<before>/<after>``: the plan for reading, its versions, what differs between two."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, lacks, needs
from dashboard.parts import card, heading, nothing, table, unbroken
from dashboard.routing import Page, address
from qc.errors import QcError
from qc.jobs.office import PlanPage, StagePage, VersionLine
from qc.words import count_words, listed

UNDER = "What is measured, and against which limits. A reading is judged by the plan of its own day."
SHOWN_VERSIONS = 8
MOST_LINES = 400
"""Lines of a comparison shown; chosen: beyond it the sentences say more."""


@needs(Role.TECHNICIAN)
def layout(**_: str) -> Component:
    """Return the plan as it stands, with its versions."""
    found = queries.office().plan()
    stages = [_stage(one) for one in found.stages]
    now = nothing("This page shows the plan as it stands now; its versions say from when each holds.")
    past = [card("", now)] if queries.standing_day() else []
    main = html.Div([*past, *stages, card("Beside the stages", _beside(found))])
    aside = html.Aside([_edit(), card("Versions", *_versions(found))])
    return html.Div([heading("The plan", UNDER), html.Div([main, aside], className="grid first")])


@needs(Role.TECHNICIAN)
def difference_layout(before: str, after: str, **_: str) -> Component:
    """Return what differs between two versions, in sentences and line by line."""
    head = heading(f"The plan, version {before} to {after}", back=("The plan", "/plan"))
    try:
        found = queries.office().difference(int(before), int(after))
    except ValueError:
        return html.Div([head, card("", nothing("An address names two versions by number, as /plan/1/2."))])
    except QcError as refused:
        return html.Div([head, card("", nothing(str(refused)))])
    sentences = html.Ul([html.Li(unbroken(one)) for one in found.sentences], className="reasons")
    whose = html.P(unbroken(_whose(found.after)), className="small")
    lines = [
        html.Span(
            [
                html.B("added " if sign == "+" else "taken out ", className="unseen") if sign in "+-" else "",
                f"{sign} {text}\n",
            ],
            className={"+": "came", "-": "went", "@": "gap"}.get(sign, ""),
        )
        for sign, text in found.lines[:MOST_LINES]
    ]
    rest = len(found.lines) - MOST_LINES
    more = [nothing(f"{rest} more lines.")] if rest > 0 else []
    shown = html.Pre(lines, className="compared", tabIndex=0) if lines else nothing("No line differs.")
    return html.Div(
        [head, card("In sentences", sentences, whose), card("Line by line", shown, *more, className="below")]
    )


def _stage(one: StagePage) -> Component:
    rows = [
        (
            figure.name,
            html.Ul([html.Li(unbroken(said)) for said in figure.limits], className="dues")
            if figure.limits
            else "no limits",
            "yes" if figure.charted else "recorded only",
        )
        for figure in one.figures
    ]
    none = nothing("Nothing is measured at this stage.")
    shown = table(("Figure", "Limits", "Charted"), rows, f"Figures of {one.name}") if rows else none
    return card(one.name, shown, className="plan-stage")


def _beside(found: PlanPage) -> Component:
    lines = [
        html.Div([html.Dt(name), html.Dd(unbroken(said))], className="may") for name, said in found.beside
    ]
    return html.Dl(lines)


def _edit() -> Component:
    status, lacking = lacks(Role.LEAD)
    if status:
        return card("Change the plan", html.P(f"The plan is changed by a lead. {lacking}", className="small"))
    said = "All of it as text, checked before it is saved; every version is kept, with who and why."
    way = html.A("Edit the plan", href="/plan/edit", className="button do")
    return card(
        "Change the plan",
        html.P(said, className="small"),
        html.P(way, className="after"),
        className="no-print",
    )


def _versions(found: PlanPage) -> list[Component]:
    """List the versions, each with what differs from the one before; the older ones are folded."""
    every = found.versions
    rows = [_version(one, every[n + 1] if n + 1 < len(every) else None) for n, one in enumerate(every)]
    shown: list[Component] = [html.Ul(rows[:SHOWN_VERSIONS], className="rows")]
    if rest := rows[SHOWN_VERSIONS:]:
        title = html.Summary(f"{count_words(len(rest), 'older version')}")
        shown.append(html.Details([title, html.Ul(rest, className="rows")], className="folded"))
    if len(every) > 2:
        way = _way_to(every[-1], every[0])
        shown.append(html.P(dcc.Link("What differs from the first", href=way), className="small after"))
    return shown


def _way_to(before: VersionLine, after: VersionLine) -> str:
    parts = {"before": str(before.version), "after": str(after.version)}
    return address("/plan/<before>/<after>", parts)


def _version(one: VersionLine, before: VersionLine | None) -> Component:
    told = [
        html.P([html.B(f"Version {one.version}"), *unbroken(f", {words.day(one.day, year=True)}, {one.who}")])
    ]
    if one.why:
        told.append(html.P(unbroken(one.why), className="said"))
    if not one.used:
        told.append(html.P("No sheet was read by it.", className="small"))
    if before is not None:
        link = dcc.Link(f"What differs from version {before.version}", href=_way_to(before, one))
        told.append(html.P(link, className="small"))
    return html.Li(told, className="row bare")


def _whose(one: VersionLine) -> str:
    why = f": {one.why}" if one.why else "."
    return f"Version {one.version} is of {words.day(one.day, year=True)}, by {one.who}{why}"


def _title(**_: str) -> str:
    return "The plan"


def _compared(before: str, after: str, **_: str) -> str:
    return f"The plan, {listed([before, after])}"


PAGE = Page("/plan", "/plan", layout, _title, nav="Plan")
DIFFERENCE_PAGE = Page("/plan/<before>/<after>", "/plan", difference_layout, _compared)
