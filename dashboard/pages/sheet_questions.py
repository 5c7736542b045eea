"""What a sheet leaves open, asked once: what its headings mean, and which way round its dates go."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.fields import Field, desk_form, submit
from dashboard.parts import card
from qc.plain import JsonObject
from qc.words import count_words, dated_words, listed

KEEP = "keep beside"
ORDERS = (("day-first", "day_first", "the day first"), ("month-first", "month_first", "the month first"))


def question_cards(questions: Sequence[JsonObject]) -> list[Component]:
    """Return a form for each card and heading line that asks; the sheets of all of them are read again."""
    lines: dict[tuple[str, str], list[JsonObject]] = {}
    for question in questions:
        lines.setdefault((question["card"], json.dumps(question["headings"])), []).append(question)
    files = list(dict.fromkeys(question["file"] for question in questions))
    return [_form(alike, files, number) for number, alike in enumerate(lines.values())]


def mapping_of(form: Mapping[str, Sequence[str]]) -> str:
    """Return the answers of a form as a mapping; JSON, which YAML readers take as well.

    Parameters
    ----------
    form : mapping of str to sequence of str
        Every field with its values: ``card``, ``headings`` (a JSON list), ``typed`` and ``meant`` in pairs,
        ``dates``.

    Examples
    --------
    >>> mapping_of({"card": ["joint"], "typed": ["Lk"], "meant": ["Leak"], "headings": ['["Lk"]']})
    '{"card": "joint", "headings": ["Lk"], "columns": {"Lk": "Leak"}, "dates": ""}'
    """
    headings = json.loads(next(iter(form.get("headings", ())), "[]"))
    told = {
        "card": next(iter(form.get("card", ())), ""),
        "headings": [str(text) for text in headings],
        "columns": dict(zip(form.get("typed", ()), form.get("meant", ()), strict=True)),
        "dates": next(iter(form.get("dates", ())), ""),
    }
    return json.dumps(told, ensure_ascii=False)


def _form(alike: list[JsonObject], files: list[str], number: int) -> Component:
    """Ask once what the headings of alike sheets mean."""
    question = alike[0]
    names = list(dict.fromkeys(one["file"] for one in alike))
    body: list[Any] = [
        html.P(_lead(question, names), className="lead"),
        html.P("Your answer is kept for this card and heading line; it is asked once.", className="small"),
        Field("headings", "hidden", json.dumps(question["headings"], ensure_ascii=False)),
    ]
    cards = [(own, title) for own, title in question["cards"]]
    if len(cards) > 1:
        about = html.Span([html.B("Card of this sheet"), html.Span("it names none", className="small")])
        body.append(_chosen(about, "card", [("", "choose the card"), *cards]))
    else:
        body.append(Field("card", "hidden", question["card"]))
    body += [_column(column) for column in question["columns"]]
    if question["dates"] is not None:
        body.append(_dates(question["dates"]))
    body.append(html.Div(submit("Read it so", "do", "read", "do"), className="ways"))
    own = f"sheets-question-{number}"
    form = desk_form("/uploads/mapped", "sheets-done", body, own, "Reading the sheets …", files)
    title = "What do these headings mean?" if question["columns"] else "Which way round are the dates?"
    return card(title, form)


def _lead(question: JsonObject, names: list[str]) -> str:
    where = names[0] if len(names) == 1 else f"{count_words(len(names), 'sheet')} alike, {names[0]} the first"
    it, its = ("it", "its") if len(names) == 1 else ("them", "their")
    if question["columns"]:
        who = question["title"] if len(question["cards"]) == 1 else "no card of the plan fits;"
        many = count_words(len(question["columns"]), "heading")
        said = f"{who} does not know {many}" if len(question["cards"]) == 1 else f"{who} {many} must be told"
        return f"{where}: {said}. Nothing of {it} is stored yet."
    return f"{where}: {its} dates can be read two ways. The rows wait as held ones until you say which."


def _column(column: JsonObject) -> Component:
    # what stands first is chosen: the guess, else the question itself
    guess = column["guess"]
    labels = dict.fromkeys([guess, *column["allowed"]])
    options = [(label, label) for label in labels if label not in {"", KEEP}]
    options.insert(0 if guess == KEEP else len(options), (KEEP, "keep beside, do not read"))
    first = [] if guess else [("", "choose what it means")]
    below = f"below it: {listed(column['examples'])}" if column["examples"] else "nothing stands below it"
    about = html.Span([html.B(column["typed"]), html.Span(below, className="small")])
    return _chosen(about, "meant", [*first, *options], Field("typed", "hidden", column["typed"]))


def _dates(asked: JsonObject) -> Component:
    ways = []
    for order, field, said in ORDERS:
        day = asked[field]
        if day is not None:
            ways.append((order, f"{dated_words(date.fromisoformat(day))}, {said}"))
    about = html.Span([html.B(f"{asked['typed']} is"), html.Span("and so every date", className="small")])
    return _chosen(about, "dates", [("", "choose the day it means"), *ways])


def _chosen(about: Component, name: str, options: Sequence[tuple[str, str]], *more: Component) -> Component:
    about.className = "asked"
    shown = [html.Option(said, value=value) for value, said in options]
    return html.Label([about, html.Select(shown, name=name), *more], className="field heading-question")
