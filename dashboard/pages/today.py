"""``/``: the morning board: the route of the work, what changed worst first, and today's few figures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import pictograms, queries, words
from dashboard.door import Role, needs
from dashboard.drawing import Drawing
from dashboard.pages.hold import hold_card
from dashboard.parts import card, figures, heading, nothing, series_row, spark, unbroken
from dashboard.routing import Page, address, series_address
from qc.jobs.board import (
    Due,
    SeriesVerdict,
    SignalView,
    StageView,
    TodayView,
    not_kept_words,
    rate_words,
)
from qc.jobs.in_hand import Share, share_words
from qc.states import NEVER_CHECKED, OFF, OVERDUE
from qc.words import count_words

SHOWN_DUES = 3
"""Dies or gauges named one by one; more are counted."""

SHOWN_FINDINGS = 8
"""Findings told whole on the first screen; the rest in a line each."""


@needs(Role.TECHNICIAN)
def layout(**_: str) -> Component:
    """Return the first screen."""
    view = queries.board().today()
    return html.Div(
        [
            heading(words.headline(view.stages, len(view.settled), view.open_as_well)),
            tube(view.stages),
            html.Div(
                [
                    html.Div([changes(view), hold_card(queries.board().hold())]),
                    html.Aside(
                        [
                            today_card(view),
                            html.P(
                                [
                                    html.A("For the wall", href="/wall"),
                                    " · ",
                                    html.A("The day on one side of paper", href="/day"),
                                ],
                                className="small no-print",
                            ),
                            html.P(budget_line(view), className="small budget"),
                            *backup_line(queries.board().backup_due()),
                        ]
                    ),
                ],
                className="grid",
            ),
        ]
    )


def tube(stages: tuple[StageView, ...]) -> Component:
    """Return the route of the work: the tube, a ring per stage, the words underneath."""
    return html.Section(
        [
            html.H2("The route of the work"),
            html.Div(
                [
                    html.Div(className="pipe"),
                    html.Ol([_stop(stage) for stage in stages], className="stops"),
                    html.Div(
                        [
                            html.Div(Drawing(pictograms.draw_bell()), className="lying"),
                            html.Div(Drawing(pictograms.draw_bell(upright=True)), className="upright"),
                        ],
                        className="end",
                    ),
                ],
                className="route",
                style={"--stages": len(stages)},
            ),
        ],
        className="card",
    )


def changes(view: TodayView) -> Component:
    """Return the short list of what changed, or the sentence that nothing did."""
    if not view.series:
        link = dcc.Link("Hand in the first sheets", href="/sheets")
        return card("What changed", html.P(["No sheet has come in yet. ", link, "."]))
    rest = [*_not_kept(view), *_waiting(view), *_settled(view), *_gone(view)]
    if not view.findings:
        told = "Nothing has moved. All series run as before; the next cards will be judged as they come in."
        if view.open_as_well:
            told = "Nothing moves now. The signals below still wait for an answer."
        if view.settled:
            told = "Nothing moves now. What settled at a new level, below, still waits for an answer."
        quiet = nothing(told)
        return card("What changed", quiet, *rest)
    rows = [_finding(verdict, _mark(view, verdict)) for verdict in view.findings[:SHOWN_FINDINGS]]
    more = [series_row(verdict) for verdict in view.findings[SHOWN_FINDINGS:]]
    link = html.P(dcc.Link(f"{len(more)} more on the signals page", href="/signals"))
    foot = [link, html.Ul(more, className="rows")] if more else []
    return card("What changed, worst first", html.Ol(rows, className="finds"), *foot, *rest)


def _not_kept(view: TodayView) -> list[Component]:
    """Keep on the list what stays at a new level, as somebody said, and does not keep its limits there."""
    rows = []
    for verdict in view.not_kept:
        said, href = unbroken(not_kept_words(verdict)), series_address(verdict.key)
        # the first column of a row is the place of its mark
        rows.append(html.Li([html.Span(), dcc.Link(said, href=href, className="name")], className="row"))
    return [html.H3("Stays, outside its limits"), html.Ul(rows, className="rows")] if rows else []


def _waiting(view: TodayView) -> list[Component]:
    """Show the other open signals in a line each; single pieces that have waited for long are folded."""
    body: list[Component] = []
    if view.waiting:
        rows = [_open_signal(signal) for signal in view.waiting]
        body += [html.H3("Open as well"), html.Ul(rows, className="rows")]
    if view.older:
        older = html.Ul([_open_signal(signal) for signal in view.older], className="rows")
        number = len(view.older)
        title = f"{number} older {'one waits' if number == 1 else 'ones wait'}"
        body.append(html.Details([html.Summary(title), older], className="folded"))
    return body


def _open_signal(view: SignalView) -> Component:
    href = address("/signals/<signal>", {"signal": view.name})
    link = dcc.Link(unbroken(view.signal.sentence), href=href, className="name")
    told = html.Div(html.P([link, " ", html.Span(view.standing, className="state")]))
    peak = Drawing(pictograms.draw_peak(20)) if view.signal.ended is None else html.Span()
    return html.Li([peak, told, spark(view.verdict, view.signal)], className="row")


def _settled(view: TodayView) -> list[Component]:
    """Fold away what settled by itself: one line, until somebody closes the signal."""
    if not view.settled:
        return []
    title = (
        f"{count_words(len(view.settled), 'series', 'series')} settled at a new level, nobody has said why"
    )
    rows = html.Ul([series_row(verdict) for verdict in view.settled], className="rows")
    # where nothing drifts, these are the first thing that waits for an answer
    return [html.Details([html.Summary(title), rows], className="folded", open=not view.findings)]


def today_card(view: TodayView) -> Component:
    """Return today's few figures: who holds what of what waits, worst first, then what runs out."""
    cards = f"{view.cards_in} of {view.cards_expected}" if view.cards_expected else str(view.cards_in)
    absent = f"Not in yet: {', '.join(view.cards_missing)}." if view.cards_missing else ""
    rows: list[tuple[str, Any]] = [(_cards_name(view), _with(cards, absent))]
    rows += [(name, _with(figure, said)) for name, figure, said in waiting_rows(view)]
    rows += [
        ("Dies due this week", _dues(view.dies_due)),
        ("Gauges to look at", _dues(view.gauges_due)),
        ("Shipped this month", str(view.shipped)),
    ]
    dues = [due for kind in (view.dies_due, view.gauges_due) if len(kind) <= SHOWN_DUES for due in kind]
    notes = [html.P(unbroken(due.sentence), className="small") for due in dues if due.sentence]
    return card("Today", figures(rows), *notes)


def waiting_rows(view: TodayView) -> list[tuple[str, Any, str]]:
    """Return what waits for somebody: its name, how much as the way to it, and with whom it is."""
    found: list[tuple[str, Any, str]] = []
    own = view.holders
    if own.reactions:
        late = sum(one.late for one in own.reactions)
        said = f"{share_words(own.reactions, 'nobody yet')}{f'; {late} overdue' if late else ''}"
        found.append(("Open reactions", _way(own.reactions, "/signals"), said))
    held = dcc.Link(str(view.held_rows), href="/sheets") if view.held_rows else "none"
    old = sum(one.late for one in own.rows)
    which = "all" if old == view.held_rows else str(old)
    aged = f"; {which} for more than a week" if old else ""
    said = f"{share_words(own.rows, 'a card without a name')}{aged}" if own.rows else ""
    found.append(("Held rows to look at", held, said))
    if own.pieces:
        said = share_words(own.pieces, "no card yet")
        found.append(("Pieces to hold", _way(own.pieces, "/hold"), said))
    return found


def _way(shares: Sequence[Share], href: str) -> Component:
    return dcc.Link(str(sum(one.number for one in shares)), href=href)


def _with(figure: Any, said: str) -> Any:
    """Return a figure with a quiet line under it."""
    return [figure, html.Span(unbroken(said), className="small held-by")] if said else figure


def budget_line(view: TodayView) -> str:
    """Return how often the whole board cries wolf at this setting."""
    if not view.series:
        return "No series is watched yet."
    text = (
        f"{words.budget_sentence(view.budget)} A piece of a series that has not changed is called in error "
        f"{rate_words(view.budget.rate)}."
    )
    if view.last_false is not None:
        text += f" Last false one: {view.last_false.day} {view.last_false:%B}."
    return text


def backup_line(due: str) -> list[Component]:
    """Return the reminder of a backup as a quiet line, its command set apart as text to type."""
    if not due:
        return []
    said = [html.Code(part) if n % 2 else part for n, part in enumerate(due.split("`"))]
    return [html.P(said, className="small", id="today-backup")]


def _stop(stage: StageView) -> Component:
    """Show one stage as one link: ring, name and words lead to the same page, and are read as one."""
    drifting = stage.behaviour == "drifting"
    return html.Li(
        dcc.Link(
            [
                html.Span(Drawing(pictograms.draw_peak()) if drifting else "", className="above"),
                Drawing(pictograms.draw_ring(stage.behaviour, stage.capable)),
                html.Span(
                    [
                        html.Strong(stage.name),
                        html.Span(_behaviour(stage), className=f"is-{stage.behaviour}"),
                        html.Span(stage.limits, className="small"),
                    ],
                    className="told",
                ),
            ],
            href=address("/stages/<stage>", {"stage": stage.id}),
        )
    )


def _behaviour(stage: StageView) -> list[Any]:
    # How many of its series moved is left out where the rings stand too close for it.
    word, _, rest = words.state_of_stage(stage).partition(",")
    return [word, html.Span(f",{rest}", className="of")] if rest else [word]


def _mark(view: TodayView, verdict: SeriesVerdict) -> list[Component]:
    """Say in a word what became of a series since the day before; nothing of one that is the same."""
    own = view.changes.of(str(verdict.key)) if view.changes else "same"
    return [html.Span(f"{own} ", className=f"mark is-{own}")] if own != "same" else []


def _gone(view: TodayView) -> list[Component]:
    """List the series that had moved by the day before and have not any more, and those that got better."""
    if view.changes is None:
        return []
    shown = {str(verdict.key) for verdict in (*view.findings, *view.not_kept)}
    rows = [
        html.Li(
            [
                dcc.Link(title, href=address_, className="name"),
                " ",
                html.Span(own, className=f"mark is-{own}"),
            ],
            className="row bare",
        )
        for title, address_, own, key in _others(view)
        if key not in shown
    ]
    since = words.day(view.changes.since)
    return [html.H3(f"Otherwise since {since}"), html.Ul(rows, className="rows")] if rows else []


def _others(view: TodayView) -> list[tuple[str, str, str, str]]:
    """Return title, address, change and key of every series that is not the same as the day before."""
    known = {str(v.key): v for v in queries.board().verdicts()}
    changed = view.changes.series.items() if view.changes else ()
    return [
        (known[key].title, series_address(known[key].key), own, key)
        for key, own in changed
        if own != "same" and key in known
    ]


def _finding(verdict: SeriesVerdict, mark: list[Component]) -> Component:
    """Draw one finding: what, why, and what to do next."""
    signal = verdict.telling
    because = signal.because if signal else ""
    following = signal.next_step if signal else ""
    told = [
        html.P(
            [
                *mark,
                dcc.Link(
                    unbroken(words.finding(verdict)), href=series_address(verdict.key), className="what"
                ),
            ]
        )
    ]
    if because:
        told.append(html.P(unbroken(because), className="meta"))
    if following:
        told.append(html.P(unbroken(next_step(following)), className="next"))
    return html.Li([Drawing(pictograms.draw_peak(20)), html.Div(told), spark(verdict)], className="find")


def next_step(step: str) -> str:
    """Return a step with "Next:" before it, once."""
    if step.lower().startswith("next"):
        return step
    # A name such as G-03 keeps its capital.
    first = step[0].lower() if step[1:2].islower() else step[0]
    return f"Next: {first}{step[1:]}"


def _cards_name(view: TodayView) -> str:
    today = queries.board().shop().day
    return "Cards in today" if view.cards_day == today else f"Cards in, {words.day(view.cards_day)}"


def _dues(dues: tuple[Due, ...]) -> Any:
    if not dues:
        return "none"
    if len(dues) > SHOWN_DUES:
        return str(len(dues))
    return html.Ul([html.Li(_due(due)) for due in dues], className="dues")


def _due(due: Due) -> Component:
    name = [html.Span(due.id, className="whole"), *unbroken(f", {due_words(due)}")]
    if due.series is not None:
        return dcc.Link(name, href=series_address(due.series))
    if due.gauge:
        return dcc.Link(name, href=address("/gauges/<gauge>", {"gauge": due.id}))
    return html.Span(name)


def due_words(due: Due) -> str:
    """Say how it stands, and by which day it is or was due."""
    if due.day is None or due.state == NEVER_CHECKED:
        return due.state
    since = {OVERDUE: " since", OFF: " on"}.get(due.state, "")
    return f"{due.state}{since} {words.day(due.day)}"


def _title(**_: str) -> str:
    return "Today"


PAGE = Page("/", "/", layout, _title, nav="Today")
