"""The classic pattern rules on a series: off until asked for, each with its price beside its switch."""

from __future__ import annotations

from typing import Any, Final

from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.fields import switch, switches
from dashboard.parts import serial_link
from qc.jobs.board import BudgetView, RuleOffer, RulesView, SeriesKey, SeriesView, known_rules, why_none
from qc.words import pieces_words, whole_words

LIMIT_WORDS: Final = {
    "textbook": "textbook, as if the spread were known",
    "prediction": "prediction, for the next piece on average",
    "guaranteed": "guaranteed, 9 in 10 sure",
}
SHOWN_HITS: Final = 12  # chosen: they stand in a sentence
DAYS_OF_A_MONTH: Final = 365.25 / 12


def rules_fold(view: SeriesView) -> Component:
    """Return the folded switches of the classic rules, or why there are none for this series."""
    title = html.Summary("Classic pattern rules: off unless you switch one on")
    reason = why_none(view.verdict)
    said = [
        html.Div(id="stage-rules-price", role="status", **{"aria-live": "polite"}),
        html.Div(id="stage-rules-found", role="status", **{"aria-live": "polite"}),
        dcc.Store(id="stage-rules"),
    ]
    if reason:
        return html.Details([title, html.P(reason, className="small"), *said], className="folded")
    rules = [html.Li(_switch(offer)) for offer in queries.board().rules()]
    limits = [
        html.Li(switch(html.Span(text), "limits", name, "radio", on=name == "textbook"))
        for name, text in LIMIT_WORDS.items()
    ]
    why = (
        "The board's signals do not come from these. Each rule cries wolf at a rate of its own, also on a "
        "series that never changes; that price stands beside it."
    )
    body = [
        html.Fieldset([html.Legend("Rules", className="unseen"), html.Ul(rules, className="checks")]),
        html.Fieldset(
            [html.Legend("Limits that beyond-limit looks at"), html.Ul(limits, className="checks")]
        ),
    ]
    form = switches("stage-rules", body, "stage-rules-form")
    return html.Details(
        [title, html.P(why, className="small"), form, *said],
        className="folded",
        id="stage-rules-fold",
    )


def register(app: Dash) -> None:
    """Add the callback that prices the chosen rules together; the chart does not wait for it."""

    @needs(Role.TECHNICIAN)
    def show_price(chosen: dict[str, list[str]] | None, series: str) -> list[Component]:
        """Return what the chosen rules cost together."""
        view = queries.board().series(SeriesKey.parse(series))
        return price(chosen_of(chosen)[0], view)

    app.callback(
        Output("stage-rules-price", "children"),
        Input("stage-rules", "data"),
        State("stage-series", "data"),
        prevent_initial_call=True,
    )(show_price)


def chosen_of(switched: dict[str, list[str]] | None) -> tuple[list[str], str]:
    """Return the rules that are on and the kind of limits, from what the switches say."""
    said = switched or {}
    limits = next(iter(said.get("limits", [])), "textbook")
    return known_rules(said.get("rule", [])), limits if limits in LIMIT_WORDS else "textbook"


def price(chosen: list[str], view: SeriesView | None) -> list[Component]:
    """Return what some rules cost together, on this series and on the whole board."""
    if not chosen or view is None:
        return []
    board = queries.board()
    found = board.rules_price(chosen)
    if found is None:
        return [html.P("So many long rules together cannot be priced; switch one off.", className="small")]
    name = (
        "This rule" if len(chosen) == 1 else f"These {words.counted(len(chosen), 'rule', 'rules')} together"
    )
    verb = "raises" if len(chosen) == 1 else "raise"
    first = f"{name} {verb} about one false signal in {whole_words(found)} pieces."
    month = _a_month(board.budget(), found)
    more = f" On every series of the board that would be about {month} a month." if month else ""
    return [html.P([html.B(first), more])]


def found(rules: RulesView, chosen: list[str], view: SeriesView) -> list[Component]:
    """Return what the chosen rules find, and what they rest on."""
    if not chosen:
        return []
    if rules.reason:
        return [html.P(rules.reason, className="small")]
    verdict = view.verdict
    count = f"{words.counted(len(rules.hits), 'piece', 'pieces')} of {rules.judged}"
    said: list[Any] = [f"They mark {count}" if len(chosen) > 1 else f"It marks {count}"]
    newest = rules.hits[::-1]
    for number, hit in enumerate(newest[:SHOWN_HITS]):
        said += [", " if number else ", newest first: ", serial_link(hit.point.serial)]
        said.append(f" ({', '.join(hit.rules)})" if len(chosen) > 1 else "")
    said.append(f" and {len(newest) - SHOWN_HITS} more." if len(newest) > SHOWN_HITS else ".")
    decimals = words.decimals_of(verdict)
    low, high = (words.number(x, decimals, verdict.centered) for x in (rules.lower, rules.upper))
    points = verdict.points
    first, last = (next(p.serial for p in points if p.ordinal == n) for n in (rules.first, rules.last))
    rests = (
        f"Middle {words.mean(verdict, rules.center)}, {rules.limits} limits {low} to {high}, from the "
        f"{pieces_words(rules.n)} {first} to {last}. The price holds where middle and spread are known; "
        "taken from few pieces, they make it uncertain."
    )
    return [html.P(said), html.P(rests, className="small")]


def _switch(offer: RuleOffer) -> Component:
    name = f"{offer.id}({offer.length})" if offer.length else offer.id
    cost = f"one false signal in {whole_words(offer.price)} pieces"
    told = [html.B(name), html.Span(offer.words), html.Span(cost, className="price")]
    return switch(html.Span(told, className="offer-of"), "rule", offer.id)


def _a_month(budget: BudgetView, pieces: float) -> str:
    points = DAYS_OF_A_MONTH / (budget.days * budget.rate) if budget.days > 0 and budget.rate > 0 else 0.0
    return words.number(points / pieces, 0 if points / pieces >= 3 else 1) if points else ""
