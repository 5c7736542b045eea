"""``/stages/<stage>`` and one series of it: the sentence, the chart, the limits, what to do."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.dependencies import ClientsideFunction
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.figures import Figure, draw_capability, draw_lots, draw_series, draw_wear
from dashboard.pages import series_rules
from dashboard.pages.missing import missing
from dashboard.pages.series_decisions import DONE, decisions_card
from dashboard.parts import (
    BY_KEYS,
    caption,
    card,
    chart,
    heading,
    nothing,
    outcome,
    series_name,
    series_row,
    unbroken,
)
from dashboard.routing import Page, address
from dashboard.shown import pieces_fold, pieces_table, span_tools, taking_along, window
from dashboard.steps import calm_steps, steps
from qc.jobs.board import SeriesKey, SeriesVerdict, SeriesView, caution_words, not_kept_words
from qc.sayings import OPEN_STATES
from qc.states import SIGNAL_WORDS

SHOWN_SIGNALS = 4  # open ones of a series that are linked; more are on the signals page


@needs(Role.TECHNICIAN)
def stage_layout(stage: str, **_: str) -> Component:
    """Return a stage with its worst series opened."""
    verdicts = queries.board().verdicts(stage)
    known = next((s for s in queries.board().stages() if s.id == stage), None)
    if known is None:
        return missing("There is no stage of this name in the plan.")
    if not verdicts:
        return html.Div(
            [
                heading(known.name, back=("Stages", "/stages")),
                card("", nothing("Nothing has been measured at this stage yet.")),
            ]
        )
    return _page(verdicts[0].key, verdicts)


@needs(Role.TECHNICIAN)
def series_layout(stage: str, characteristic: str, family: str, **_: str) -> Component:
    """Return one series, with the others of its stage underneath."""
    return _page(SeriesKey(stage, characteristic, family), queries.board().verdicts(stage))


def register(app: Dash) -> None:
    """Add the callbacks: span and rules of the chart, decisions, the way from a point to its instrument."""

    @needs(Role.TECHNICIAN)
    def draw_again(
        newest: int, every: int, switched: dict[str, list[str]] | None, whole: str, series: str
    ) -> tuple[Figure, str, str, Any, Any]:
        """Draw the chart over the span asked for, with the rules that are on; its table follows the span."""
        view = queries.board().series(SeriesKey.parse(series))
        asked = ctx.triggered_id
        if view is None or not asked:
            raise PreventUpdate
        every_piece = asked == "stage-span-all" or (asked != "stage-span-newest" and whole == "true")
        last = None if every_piece else window(view.verdict)
        figure, said = rules_drawn(view, last, switched)
        rows = no_update if asked == "stage-rules" else pieces_table(view, last)
        return figure, str(not every_piece).lower(), str(every_piece).lower(), said, rows

    app.callback(
        Output("stage-chart", "figure"),
        Output("stage-span-newest", "aria-pressed"),
        Output("stage-span-all", "aria-pressed"),
        Output("stage-rules-found", "children"),
        Output("stage-pieces-body", "children"),
        Input("stage-span-newest", "n_clicks"),
        Input("stage-span-all", "n_clicks"),
        Input("stage-rules", "data"),
        State("stage-span-all", "aria-pressed"),
        State("stage-series", "data"),
        prevent_initial_call=True,
    )(draw_again)

    @needs(Role.TECHNICIAN)
    def show_again(ticket: str, series: str) -> tuple[Component, Any]:
        """Return what became of a decision, and the series as it stands now."""
        said, done = outcome(queries.ticket(ticket, "sentence"))
        if not done:
            return said, no_update
        key = SeriesKey.parse(series)
        return said, _body(key, queries.board().verdicts(key.stage))

    app.callback(
        Output("stage-said", "children"),
        Output("stage-body", "children"),
        Input(DONE, "data"),
        State("stage-series", "data"),
        prevent_initial_call=True,
    )(show_again)
    app.clientside_callback(
        ClientsideFunction("board", "openInstrument"),
        Output("url", "pathname", allow_duplicate=True),
        Input("stage-chart", "clickData"),
        prevent_initial_call=True,
    )
    series_rules.register(app)


def rules_drawn(
    view: SeriesView, last: int | None, switched: dict[str, list[str]] | None
) -> tuple[Figure, list[Component]]:
    """Return the chart with the rules that are on, and what they found."""
    wanted, limits = series_rules.chosen_of(switched)
    rules = queries.board().rules_on(view.verdict.key, wanted, limits) if wanted else None
    figure = draw_series(view, last, queries.narrow_screen(), rules, queries.chart_px())
    return figure, series_rules.found(rules, wanted, view) if rules else []


def _page(key: SeriesKey, verdicts: tuple[SeriesVerdict, ...]) -> Component:
    view = queries.board().series(key)
    if view is None:
        return missing("There is no series of this name.")
    title = f"{view.verdict.stage_name} — {series_name(view.verdict)}"
    return html.Div(
        [
            heading(title, view.plain, back=("Stages", "/stages")),
            html.Div(id="stage-said", role="status", className="said-of", **{"aria-live": "polite"}),
            html.Div(_body(key, verdicts), id="stage-body"),
            dcc.Store(id="stage-series", data=str(key)),
            dcc.Store(id=DONE),
        ]
    )


def _body(key: SeriesKey, verdicts: tuple[SeriesVerdict, ...]) -> Component:
    """Return everything under the title of a series, as it stands now."""
    view = queries.board().series(key)
    if view is None:
        return missing("There is no series of this name.")
    others = html.Ul([series_row(v, current=v.key == key) for v in verdicts], className="rows")
    stage_card = card(f"All of {view.verdict.stage_name}, worst first", others, className="last")
    decided = [decisions_card(view)] if view.verdict.points else []
    return html.Div(
        [
            html.Div([*_evidence(view), *_wear(view), *_scatter(view), stage_card]),
            html.Aside([_limits_card(view), _action_card(view), *decided, *_notes(view)]),
        ],
        className="grid first",
    )


def _evidence(view: SeriesView) -> list[Component]:
    """Put the sentence before the chart: who reads no further has the finding.

    They are two cards that lie together on a desk; on a phone what to do comes between them (board.css).
    """
    verdict = view.verdict
    signal = verdict.telling
    said = [html.P(unbroken(words.finding(verdict)), className="lead")]
    if signal is not None and signal.because:
        said.append(html.P(unbroken(signal.because), className="small"))
    if verdict.not_kept is not None:
        said.append(html.P(unbroken(not_kept_words(verdict)), className="small"))
    own = [s for s in queries.board().signals() if s.verdict.key == verdict.key and s.state in OPEN_STATES]
    said += [
        html.P(
            dcc.Link(
                f"Its signal {s.name}, {s.standing or SIGNAL_WORDS[s.state]}: what to do and what was said",
                href=address("/signals/<signal>", {"signal": s.name}),
                className="plain",
            ),
            className="no-print",
        )
        for s in own[:SHOWN_SIGNALS]
    ]
    if not verdict.points:
        return [card("", *said)]
    newest = window(verdict)
    drawn = card(
        "",
        span_tools("stage", view, newest),
        chart(
            "stage-chart",
            draw_series(view, newest, queries.narrow_screen(), width_px=queries.chart_px()),
            f"{verdict.name} by piece in order of making. {words.finding(verdict)} {BY_KEYS}",
            walked=True,
        ),
        caption(view),
        taking_along("stage", view),
        series_rules.rules_fold(view),
        className="drawn",
    )
    return [card("", *said, className="sentence"), drawn, pieces_fold("stage", view, newest)]


def _wear(view: SeriesView) -> list[Component]:
    forecast = view.verdict.forecast
    figure = draw_wear(view, queries.narrow_screen())
    if forecast is None:
        return []
    said = view.wear or forecast.sentence
    graph = [chart("stage-wear", figure, f"Wear of {forecast.tool}. {said}")] if figure else []
    return [card("", html.P(unbroken(said), className="lead"), *graph)]


def _scatter(view: SeriesView) -> list[Component]:
    """Say how the pieces scatter; where lots are recorded, show what the pieces of each have in common."""
    scatter = view.verdict.scatter
    if scatter is None or not view.verdict.points:
        return []
    said = [html.P(unbroken(scatter.sentence))] if scatter.sentence else []
    figure = draw_lots(view, queries.narrow_screen())
    what = {"batch": "batch", "tool": "set-up of the tool"}.get(scatter.lots_by, "lot")
    label = f"{view.verdict.name}, by {what}: the mean of each as a diamond, its pieces as dots."
    graph = [html.P(label, className="small"), chart("stage-lots", figure, label)] if figure else []
    return [card("How its pieces scatter", *said, *graph)] if said or graph else []


def _limits_card(view: SeriesView) -> Component:
    """Answer whether the limits are kept, in words first; the picture shows where the pieces lie."""
    verdict = view.verdict
    answer, sentence = words.capability(view)
    limited = bool(verdict.points) and (verdict.lower is not None or verdict.upper is not None)
    body: list[Component] = [html.P([html.B(answer), " ", sentence])]
    if limited and verdict.kind == "measured":
        label = f"{verdict.name}: where the pieces lie between the limits. {answer} {sentence}"
        body.append(chart("stage-limits", draw_capability(view), label))
    if verdict.sd_between is not None and verdict.sd_within is not None:
        spreads = (
            f"Piece to piece the spread is {words.difference(verdict.sd_between, verdict.unit)}, within a "
            f"piece {words.difference(verdict.sd_within, verdict.unit)} (standard deviations)."
        )
        body.append(html.P(spreads, className="small"))
    return card("Does it keep its limits?", *body)


def _action_card(view: SeriesView) -> Component:
    verdict = view.verdict
    care = [html.P(caution_words(view.cautions), className="small")] if view.cautions else []
    if verdict.behaviour != "drifting":
        calm = html.P("Nothing now. Should the next pieces stand out, this comes first:")
        first = html.Ol([html.Li(unbroken(step)) for step in calm_steps(view)], className="steps")
        return card("What to do", calm, first, *care, className="to-do")
    todo = html.Ol([html.Li(unbroken(step)) for step in steps(view)], className="steps")
    return card("What to do", todo, *care, className="to-do")


def _notes(view: SeriesView) -> list[Component]:
    facts = [html.P(unbroken(fact), className="small") for fact in view.notes]
    return [card("Good to know", *facts)] if facts else []


def _stage_title(stage: str, **_: str) -> str:
    known = next((s for s in queries.board().stages() if s.id == stage), None)
    return known.name if known else "Not found"


def _series_title(stage: str, characteristic: str, family: str, **_: str) -> str:
    view = queries.board().series(SeriesKey(stage, characteristic, family))
    return f"{view.verdict.stage_name} — {series_name(view.verdict)}" if view else "Not found"


STAGE_PAGE = Page("/stages/<stage>", "/stages", stage_layout, _stage_title, register=register)
SERIES_PAGE = Page("/stages/<stage>/<characteristic>/<family>", "/stages", series_layout, _series_title)
