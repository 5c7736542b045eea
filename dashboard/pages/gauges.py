"""``/gauges`` and ``/gauges/<gauge>``: what each gauge measures, how its checks stand, whom it touched."""

from __future__ import annotations

from typing import Any, Final

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import pictograms, queries, words
from dashboard.door import Role, needs
from dashboard.drawing import Drawing
from dashboard.figures import draw_checks
from dashboard.pages.gauge_study import register, study_card
from dashboard.pages.missing import missing
from dashboard.pages.signal_life import touched_card
from dashboard.parts import card, chart, figures, heading, nothing, table, unbroken
from dashboard.routing import Page, address, series_address
from qc.jobs.board import CHECK_RATE, GaugeView, MeasureView, is_zero, masters_words
from qc.states import MOVED, NEVER_CHECKED, OFF, OVERDUE

CHANGE_WORDS: Final = {
    "shift": "level moved",
    "trend": "creeps",
    "spread": "scatter changed",
    "single": "one check apart",
}
LOUD: Final = (OFF, OVERDUE, NEVER_CHECKED, MOVED)
LEAST_STEPS: Final = 1.1
"""So many steps must a scatter span: five values of the moving range then lie inside its limits."""

SPARK_CHECKS: Final = 36  # as many as a series shows
TABLE_CHECKS: Final = 60  # chosen: some three months of daily checks


@needs(Role.TECHNICIAN)
def list_layout(**_: str) -> Component:
    """Return every gauge of the plan in a few words, those that need a look first."""
    views = queries.board().gauges()
    under = (
        "What each measures, whether its step is fine enough for it, and how its checks stand. "
        "Those that need a look come first."
    )
    if not views:
        return html.Div([heading("Gauges"), card("", nothing("The plan names no gauge yet.")), study_card()])
    rows = html.Ul([_row(view) for view in views], className="rows")
    return html.Div([heading("Gauges", under), card(_headline(views), rows), study_card()])


@needs(Role.TECHNICIAN)
def one_layout(gauge: str, **_: str) -> Component:
    """Return everything about one gauge."""
    view = next((g for g in queries.board().gauges() if g.id == gauge), None)
    if view is None:
        return missing("There is no gauge of this name in the plan.")
    figure = draw_checks(view, queries.board().shop().day, queries.narrow_screen())
    evidence: list[Any] = [html.P(unbroken(view.sentence), className="lead")]
    if view.moved:
        evidence.append(html.P(unbroken(view.moved), className="lead"))
    if view.bias is not None:
        evidence.append(html.P(bias_sentence(view), className="small"))
    drawn = []
    if figure is not None:
        label = f"Checks of {view.id} against its master. {view.sentence} The table below holds the newest."
        drawn = [card("", chart("gauges-chart", figure, label), className="drawn")]
        if any(is_zero(check.master) for check in view.checks):
            evidence.append(
                html.P("Hollow marks are checks at zero, full ones on a ring.", className="small")
            )
    touched = queries.board().gauge_touched(view.id)
    below = [touched_card(touched, _touched_title(view))] if touched is not None else []
    return html.Div(
        [
            heading(f"{view.id} — {view.name}", back=("Gauges", "/gauges")),
            html.Div(
                [
                    html.Div(
                        [
                            card("", *evidence, className="sentence" if drawn else ""),
                            *drawn,
                            *_course_card(view),
                            *_check_table(view),
                            *below,
                        ]
                    ),
                    html.Aside([_step_card(view), _facts(view), *_action(view), *_enter_check(view)]),
                ],
                className="grid first",
            ),
        ]
    )


def step_sentence(view: GaugeView, measure: MeasureView) -> str:
    """Return whether the step of a gauge is fine enough for what it measures, in words."""
    if measure.steps is None or measure.spread is None:
        return "Too little was read to say whether its step is fine enough."
    step = words.bound(view.step, view.unit)
    spread = _spread(measure)
    if measure.fine:
        return (
            f"Its step of {step} is fine enough: pieces scatter by {spread}, {measure.steps:.1f} steps of it "
            f"({LEAST_STEPS} wanted)."
        )
    return (
        f"Its step of {step} is too coarse: pieces scatter by {spread}, only {measure.steps:.1f} steps of it "
        f"({LEAST_STEPS} wanted). A chart of its readings gives false signals; take a finer gauge."
    )


def bias_sentence(view: GaugeView) -> str:
    """Return how far off a gauge reads its master, with the interval and what it rests on."""
    bias = view.bias
    if bias is None:
        return "No check against its master is on record."
    decimals = words.step_decimals(view.step) + 1
    mean = words.amount(bias.mean, view.unit, decimals, signed=True)
    checks = f"{bias.n} check{'' if bias.n == 1 else 's'}"
    off = view.last_good is None or bias.since > view.last_good
    when = "Since its last good check" if off else f"Over its last {checks}"
    if bias.low is None or bias.high is None:
        return f"{when} it reads {mean} off its master, from {checks}; one check has no interval."
    low, high = (words.number(x, decimals, signed=True) for x in (bias.low, bias.high))
    clear = "a clear bias" if bias.clear else "no clear bias"
    rests = f" from {checks}" if off else ""
    return f"{when} it reads {mean} off its master ({low} to {high}, 95 in 100 sure){rests}: {clear}."


def _headline(views: tuple[GaugeView, ...]) -> str:
    loud = sum(view.state in LOUD for view in views)
    if not loud:
        return f"{words.counted(len(views), 'gauge', 'gauges')}, none off or overdue".capitalize()
    need = words.counted(loud, "needs a look", "need a look")
    return f"{words.counted(len(views), 'gauge', 'gauges')}, {need}".capitalize()


def _row(view: GaugeView) -> Component:
    """Say a gauge in a few words; the peak marks those that need a look, for readers who see no colour."""
    link = dcc.Link(
        [html.Span(view.id, className="whole"), f", {view.name}"],
        href=address("/gauges/<gauge>", {"gauge": view.id}),
        className="name",
    )
    state = html.Span(view.state, className="is-drifting" if view.state in LOUD else "state")
    measures = [html.P([_named(m), ". ", _step_short(m)], className="said") for m in view.measures]
    if not measures:
        measures = [html.P("No newest reading names it.", className="said")]
    moved = [html.P(unbroken(view.moved), className="said check")] if view.moved else []
    told = html.Div(
        [
            html.P([link, " ", state]),
            html.P(unbroken(view.sentence), className="said check"),
            *moved,
            *measures,
        ]
    )
    peak = Drawing(pictograms.draw_peak(20)) if view.state in LOUD else html.Span()
    newest = [check.value for check in view.checks[-SPARK_CHECKS:]]
    line = [Drawing(pictograms.draw_spark(newest))] if newest else []
    return html.Li([peak, told, *line], className="row")


def _named(measure: MeasureView) -> str | Component:
    return (
        dcc.Link(measure.name, href=series_address(measure.series))
        if measure.series is not None
        else measure.name
    )


def _step_short(measure: MeasureView) -> str:
    if measure.steps is None:
        return "Too little read to judge its step."
    spans = f"the scatter from piece to piece spans {measure.steps:.1f} of its steps"
    return f"Step fine enough: {spans}." if measure.fine else f"Step too coarse: {spans}."


def _spread(measure: MeasureView) -> str:
    return words.difference(measure.spread or 0.0, measure.unit)


def _step_card(view: GaugeView) -> Component:
    if not view.measures:
        return card("Is its step fine enough?", nothing("No newest reading names this gauge."))
    lines = [html.P([html.B(_named(m)), ". ", step_sentence(view, m)]) for m in view.measures]
    n = sum(m.n for m in view.measures)
    rests = (
        f"From the newest {n} readings by it; neighbouring pieces of a model are compared, place by place."
    )
    return card("Is its step fine enough?", *lines, html.P(rests, className="small"))


def _facts(view: GaugeView) -> Component:
    rows: list[tuple[str, Any]] = [("Step", words.bound(view.step, view.unit))]
    if view.tolerance is not None:
        rows.append(("Limit of a check", f"±{words.bound(view.tolerance, view.unit)}"))
    if view.daily:
        rows.append(("Last check", words.day(view.checks[-1].day, year=True) if view.checks else "none"))
        by = "Check overdue since" if view.missed else "Next check"
        rows.append((by, words.day(view.next_check, year=True) or "today"))
        rows.append(("Working days missed", str(view.missed) if view.missed else "none"))
    rows.append(("Calibrated", words.day(view.calibrated, year=True) or "not on record"))
    rows.append(("Calibrated until", words.day(view.due, year=True) or "no day set"))
    return card("In figures", figures(rows))


def _action(view: GaugeView) -> list[Component]:
    if view.state not in LOUD:
        return []
    steps = [f"Check the zero of {view.id} on its master, and write the check on the card."]
    if view.state == MOVED:
        steps = list(view.steps)
    elif view.state in (OFF, NEVER_CHECKED) or view.missed:
        steps.append("If it is off, set it and measure again the pieces below that are still here.")
        steps.append("The lead decides about those that have left.")
    else:
        steps.append("Have it calibrated, or take it off the bench; readings by it are held until then.")
    todo = html.Ol([html.Li(unbroken(step)) for step in steps], className="steps")
    return [card("What to do", todo, className="to-do")]


def _enter_check(view: GaugeView) -> list[Component]:
    """Return the way to the bench's card of checks, with this gauge in it."""
    cards = [one.id for one in queries.board().bench().cards() if one.event == "gauge-check"]
    if not cards or queries.standing_day() is not None:
        return []
    way = address("/bench/<card>?gauge=<gauge>", {"card": cards[0], "gauge": view.id})
    return [html.P(html.A("Enter a check of it", href=way, className="button"), className="no-print")]


def _touched_title(view: GaugeView) -> str:
    if view.last_good is not None:
        return "What it touched since its last good check"
    return "What it touched since its calibration" if view.calibrated else "What it touched"


def _course_card(view: GaugeView) -> list[Component]:
    """Say what the run of checks went through since the last calibration, newest first."""
    if not view.checks:
        return []
    since = (
        f"since its calibration on {words.day(view.calibrated, year=True)}" if view.calibrated else "so far"
    )
    rests = (
        f"Each check is held against all those before it {since}, as the readings of a series are; at this "
        f"threshold a gauge that stays as it is raises one in {round(1 / CHECK_RATE):,} checks."
    )
    if not view.changes:
        return [
            card(
                "What its checks went through",
                html.P("They are as they were."),
                html.P(rests, className="small"),
            )
        ]
    decimals = words.step_decimals(view.step) + 1
    rows = [
        [
            words.day(change.since, year=True),
            CHANGE_WORDS[change.kind] + masters_words(change.master),
            words.amount(change.before, view.unit, decimals, signed=True),
            words.amount(change.now, view.unit, decimals, signed=True),
            html.B("stands", className="is-drifting") if change.stands else "over",
        ]
        for change in reversed(view.changes)
    ]
    head = ["Since", "What", "Off its master before", "Since then", ""]
    inner = table(head, rows, "Changes in its checks, newest first", numbers=(2, 3))
    return [card("What its checks went through", inner, html.P(rests, className="small"))]


def _check_table(view: GaugeView) -> list[Component]:
    """Fold the checks away as a table: the chart shows them, a screen reader needs the figures."""
    if not view.checks:
        return []
    decimals = words.step_decimals(view.step)
    named = any(check.master for check in view.checks[-TABLE_CHECKS:])
    rows = [
        [
            words.day(check.day, year=True),
            words.amount(check.value, view.unit, decimals, signed=True),
            ""
            if check.good is None
            else "inside"
            if check.good
            else html.B("outside", className="is-drifting"),
            check.person,
            *([check.master] if named else []),
        ]
        for check in view.checks[-TABLE_CHECKS:][::-1]
    ]
    head = ["Day", "Off its master", "Tolerance", "Person", *(["Master"] if named else [])]
    inner = table(head, rows, f"The newest {len(rows)} checks, newest first", numbers=(1,))
    return [html.Details([html.Summary("The checks as a table"), inner], className="card")]


def _list_title(**_: str) -> str:
    return "Gauges"


def _one_title(gauge: str, **_: str) -> str:
    return gauge


LIST_PAGE = Page("/gauges", "/gauges", list_layout, _list_title, nav="Gauges", register=register)
ONE_PAGE = Page("/gauges/<gauge>", "/gauges", one_layout, _one_title)
