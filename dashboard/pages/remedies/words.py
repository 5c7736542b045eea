"""What the pages of the remedies have in common: steps, cautions, a problem in place of an answer."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from dash import html
from dash.development.base_component import Component

from dashboard.parts import card, unbroken

OPTION: Final = re.compile(r"\s*\(--[^)]*\)|, or give [^.;]*--[\w-]+")
"""What a command says of its options: in brackets, or as another way."""


def steps_card(steps: Sequence[str], *more: Component) -> Component:
    """Return the order of work: the first step large, all of them numbered."""
    if len(steps) == 1:
        return card("", html.P(unbroken(sentence(steps[0])), className="lead"), *more)
    first, *rest = (html.Li(unbroken(sentence(step))) for step in steps)
    first.className = "lead"
    return card("", html.Ol([first, *rest], className="steps work"), *more)


def cautions_card(cautions: Sequence[str]) -> Component:
    """Return what to know before the work."""
    lines = [html.P(unbroken(sentence(text)), className="small") for text in cautions]
    return card("Before the work", *lines)


def problem_card(problem: str) -> Component:
    """Return why there is no answer, and what to do."""
    return card("", html.P(unbroken(problem), className="lead"), className="warn")


def amount(value: float, places: int = 1, signed: bool = False) -> str:
    """Write a figure with the sign of a page: a minus as long as a plus."""
    return f"{value:{'+' if signed else ''}.{places}f}".replace("-", "\N{MINUS SIGN}")


def sentence(text: str) -> str:
    """Write what a command says as a sentence of a page, without the command's options."""
    told = OPTION.sub("", text).rstrip(".")
    return f"{told[:1].upper()}{told[1:]}."
