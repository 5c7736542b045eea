"""``/signals`` and ``/signals/<id>``: every finding, what it rests on, what was said of it."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.dependencies import ClientsideFunction
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import pictograms, queries, words
from dashboard.door import Role, needs
from dashboard.drawing import Drawing
from dashboard.figures import Figure, draw_series
from dashboard.pages.missing import missing
from dashboard.pages.remedies.addresses import of_series
from dashboard.pages.signal_life import action_card, history_card, made_under_card, status, touched_card
from dashboard.parts import (
    BY_KEYS,
    caption,
    card,
    chart,
    figures,
    heading,
    nothing,
    outcome,
    serial_link,
    series_name,
    spark,
    table,
    unbroken,
)
from dashboard.routing import Page, address, series_address
from dashboard.shown import (
    as_it_stood,
    pieces_fold,
    pieces_table,
    span_tools,
    stood_words,
    taking_along,
    window,
)
from qc.jobs.board import SeriesView, SignalView, owner_words, rate_words, unchanged_words
from qc.sayings import CLOSED_STATES, OPEN_STATES
from qc.states import SIGNAL_WORDS
from qc.words import count_words

KIND_WORDS = {
    "single": "one piece apart from the rest",
    "shift": "a new level",
    "trend": "a steady climb or fall",
    "spread": "a change of spread",
    "count": "a change of rate",
}
CLOSED = (*CLOSED_STATES, "over")


@needs(Role.TECHNICIAN)
def list_layout(**_: str) -> Component:
    """Return the list of signals: those that wait first."""
    signals = queries.board().signals()
    live = [s for s in signals if s.state not in CLOSED or s.not_kept]
    past = [s for s in signals if s not in live]
    under = "A signal is one finding. It stays open until someone has looked, acted and closed it."
    waiting = html.Ul([_row(s) for s in live], className="rows") if live else nothing("No signal is open.")
    before = html.Ul([_row(s) for s in past], className="rows") if past else nothing("None so far.")
    return html.Div(
        [heading("Signals", under), card("Waiting", waiting), card("Earlier", before, className="below")]
    )


@needs(Role.TECHNICIAN)
def one_layout(signal: str, **_: str) -> Component:
    """Return one signal with its evidence, its suspects and its life."""
    view = queries.board().signal(signal)
    if view is None:
        return missing("There is no signal of this name.")
    queries.desk().warm()  # whoever opens it will say something of it
    body = html.Div(signal_body(view), id="signals-body")
    return html.Div([*status(), body, dcc.Store(id="signals-id", data=view.id)])


def register(app: Dash) -> None:
    """Add the callback that shows a signal anew once something was said of it."""

    @needs(Role.TECHNICIAN)
    def show_again(ticket: str, signal: str) -> tuple[Component, Any]:
        """Return what became of a ticket, and the signal as it stands now."""
        found = queries.ticket(ticket, "sentence")
        view = queries.board().signal(signal)
        said, done = outcome(found if view else None)
        # a page of a hundred pieces takes seconds to draw: where nothing drawn has changed, it stays
        return said, signal_body(view) if view and done and not _said_only(found) else no_update

    @needs(Role.TECHNICIAN)
    def show_said(ticket: str, signal: str) -> tuple[Any, Any]:
        """Return what a tick or a remark changes on the page: the pieces to tick, the steps and the life."""
        found = queries.ticket(ticket, "sentence")
        view = queries.board().signal(signal) if _said_only(found) else None
        if view is None:
            return no_update, no_update
        return _dealt_with(view), _aside(view, queries.board().series(view.verdict.key))

    @needs(Role.TECHNICIAN)
    def draw_again(newest: int, every: int, signal: str) -> tuple[Figure, Any, str, str]:
        """Draw the chart over the span asked for; its table follows."""
        view = queries.board().signal(signal)
        series = queries.board().series(view.verdict.key) if view else None
        if view is None or series is None or not ctx.triggered_id:
            raise PreventUpdate
        series = as_it_stood(view, series)
        whole = ctx.triggered_id == "signals-span-all"
        last = None if whole else window(series.verdict, view.told)
        figure = draw_series(series, last, queries.narrow_screen(), width_px=queries.chart_px())
        return figure, pieces_table(series, last), str(not whole).lower(), str(whole).lower()

    app.callback(
        Output("signals-chart", "figure"),
        Output("signals-pieces-body", "children"),
        Output("signals-span-newest", "aria-pressed"),
        Output("signals-span-all", "aria-pressed"),
        Input("signals-span-newest", "n_clicks"),
        Input("signals-span-all", "n_clicks"),
        State("signals-id", "data"),
        prevent_initial_call=True,
    )(draw_again)
    app.clientside_callback(
        ClientsideFunction("board", "openInstrument"),
        Output("url", "pathname", allow_duplicate=True),
        Input("signals-chart", "clickData"),
        prevent_initial_call=True,
    )
    app.callback(
        Output("signals-said", "children"),
        Output("signals-body", "children"),
        Input("signals-done", "data"),
        State("signals-id", "data"),
        prevent_initial_call=True,
    )(show_again)
    app.callback(
        Output("signals-dealt-with", "children"),
        Output("signals-aside", "children"),
        Input("signals-done", "data"),
        State("signals-id", "data"),
        prevent_initial_call=True,
    )(show_said)


def _said_only(found: Any) -> bool:
    """Tell whether a ticket ended in something that is said and changes nothing that is drawn."""
    return bool(found and found["state"] == "done" and (found["receipt"] or {}).get("said_only"))


def _dealt_with(view: SignalView) -> list[Component]:
    return [made_under_card(view)] if view.made_under else []


def _aside(view: SignalView, series: SeriesView | None) -> list[Component]:
    return [action_card(view, series), history_card(view), _facts(view)]


def signal_body(view: SignalView) -> list[Component]:
    """Return everything a signal's page says, as it stands now."""
    board = queries.board()
    series = board.series(view.verdict.key)
    evidence: list[Any] = [html.P(unbroken(view.told.sentence or _fallback(view)), className="lead")]
    if view.told.because:
        evidence.append(html.P(unbroken(view.told.because), className="small"))
    if view.anew is not None:
        since = f"Worked out anew since: {view.anew.sentence} {view.anew.because}"
        evidence.append(html.P(unbroken(since), className="small"))
    if view.mend:
        evidence.append(html.P(unbroken(view.mend), className="small"))
    evidence += [html.P(unbroken(said), className="small") for said in view.beside]
    link = dcc.Link("Open the series", href=series_address(view.verdict.key), className="plain")
    ways = html.Div([link, *of_series(view.verdict)], className="tools")
    drawn = _drawn(view, series, ways) if series is not None else []
    touched = board.touched(view.id)
    more = [touched_card(touched)] if touched is not None else []
    return [
        heading(
            f"{view.verdict.stage_name} — {series_name(view.verdict)}",
            f"Signal {view.name}, {_standing(view)}",
            back=("Signals", "/signals"),
        ),
        html.Div(
            [
                html.Div(
                    [
                        card("", *evidence, className="sentence" if drawn else ""),
                        *drawn,
                        _suspects(view),
                        html.Div(_dealt_with(view), id="signals-dealt-with"),
                        *more,
                    ]
                ),
                html.Aside(_aside(view, series), id="signals-aside"),
            ],
            className="grid first",
        ),
    ]


def _drawn(view: SignalView, series: SeriesView, ways: Component) -> list[Component]:
    """Return the chart of the series with the newest pieces and those round the change, and its table.

    Of a closed signal as it stood when it was closed: what came since is for the page of the series.
    """
    now, series = series, as_it_stood(view, series)
    newest = window(series.verdict, view.told)
    figure = draw_series(series, newest, queries.narrow_screen(), width_px=queries.chart_px())
    label = f"{view.verdict.name}. {view.told.sentence} {BY_KEYS}"
    until = stood_words(view, now, series)
    drawn = card(
        "",
        span_tools("signals", series, newest, now if until else None),
        chart("signals-chart", figure, label, walked=True),
        *([html.P(unbroken(until), className="small")] if until else [caption(series)]),
        taking_along("signals", series),
        ways,
        className="drawn",
    )
    return [drawn, pieces_fold("signals", series, newest)]


def _row(view: SignalView) -> Component:
    """Draw one signal: its sentence, its evidence, who has it, its small picture."""
    link = dcc.Link(
        unbroken(view.told.sentence or _fallback(view)),
        href=address("/signals/<signal>", {"signal": view.name}),
        className="name",
    )
    raised = _raised(view)
    state = html.Span(_standing(view), className="is-drifting" if view.state == "open" else "state")
    because = unbroken(f"{raised} {view.told.because}".strip())
    rest = [
        html.P(unbroken(said), className="small") for said in (view.mend, *view.beside, _owner(view)) if said
    ]
    told = html.Div([html.P([link, " ", state]), html.P(because, className="said"), *rest])
    peak = Drawing(pictograms.draw_peak(20)) if view.state == "open" else html.Span()
    return html.Li([peak, told, spark(view.verdict, view.signal)], className="row")


def _raised(view: SignalView) -> str:
    """Say when it was first told, and of which day the piece is by which: a card may come in late."""
    signal, told = view.signal, view.known or view.signal.raised_day
    # one that opened anew was told first at the piece it goes by, not at the one that opened it
    own = {point.serial: point.day for point in view.verdict.points}
    of = signal.raised_day if signal.root == signal.raised_serial else own.get(signal.root, told)
    measured = "" if of == told else f", measured on {words.day(of, year=of.year != told.year)}"
    return f"First told on {words.day(told, year=True)}, at {signal.root}{measured}."


def _standing(view: SignalView) -> str:
    """Say how it stands; of a closed one also what became of the cause."""
    return view.standing if view.standing else SIGNAL_WORDS[view.state]


def _owner(view: SignalView) -> str:
    """Say who has it and by when it is to be closed; nothing of one that asks nothing of anybody."""
    if view.state not in OPEN_STATES:
        return ""
    return owner_words(view.owner, view.age_days, view.due, overdue=view.overdue, had=view.had)


def _facts(view: SignalView) -> Component:
    """Give the figures of a signal with the rate it was judged at: without that a size says nothing."""
    found = view.signal
    rows: list[tuple[str, Any]] = [
        ("Kind", KIND_WORDS[found.kind]),
        ("Began at", serial_link(found.since_serial)),
        ("First told", words.day(view.known or found.raised_day, year=True)),
        ("Raised at", serial_link(found.raised_serial)),
        ("Pieces since it began", str(found.pieces)),
    ]
    if view.state in OPEN_STATES:
        nobody = f"nobody since it was opened anew, {view.had} before" if view.had else "nobody yet"
        rows.append(("In the hands of", view.owner or nobody))
        rows.append(("Known for", count_words(view.age_days, "day")))
        by = words.day(view.due, year=True) if view.due else "no day set"
        rows.append(("To be closed by", f"{by}, overdue" if view.overdue else by))
    if found.size is not None:
        if found.size_low is None or found.size_high is None:
            size = words.difference(found.size, found.unit, signed=True)
        else:
            size = words.sized(found.size, found.size_low, found.size_high, found.unit)
        rows.append(("Size", size))
    if found.size_sigma is not None:
        times = f"{words.number(abs(found.size_sigma), 1)} times the spread from piece to piece"
        rows.append(("Size beside the spread", times))
    note = (
        f"It was judged so that a piece of a series that has not changed is called in error "
        f"{rate_words(found.rate)}. {words.budget_sentence(queries.board().budget())}"
    )
    return card("In figures", figures(rows), html.P(note, className="small"))


def _suspects(view: SignalView) -> Component:
    found = view.signal
    if not found.suspects:
        return card("What changed beside it", nothing("Nothing recorded explains it."))
    rows = [
        [unbroken(s.sentence), s.before, unbroken(s.name), serial_link(s.serial), words.day(s.day)]
        for s in found.suspects
    ]
    head = ["What", "Before", "Since then", "First piece", "Day"]
    inner = table(head, rows, "Coincides with the change; that does not prove a cause. Likeliest first")
    same = unchanged_words(found.unchanged)
    rest = [html.P(f"Looked at: {same}.", className="small")] if same else []
    return card("What changed beside it", inner, *rest)


def _fallback(view: SignalView) -> str:
    return f"{series_name(view.verdict)}: {KIND_WORDS[view.signal.kind]} since {view.signal.since_serial}."


def _list_title(**_: str) -> str:
    return "Signals"


def _one_title(signal: str, **_: str) -> str:
    view = queries.board().signal(signal)
    return f"Signal {view.name if view else signal}"


LIST_PAGE = Page("/signals", "/signals", list_layout, _list_title, nav="Signals")
ONE_PAGE = Page("/signals/<signal>", "/signals", one_layout, _one_title, register=register)
