"""Parts of the board's pages as plain markup, for pages without the framework; every text is escaped."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.bench.frame import picture
from dashboard.drawing import Drawing

NAMES: Final[Mapping[str, str]] = {"className": "class", "tabIndex": "tabindex", "htmlFor": "for"}
EMPTY: Final = frozenset({"br", "img", "input"})


def plain(part: Any) -> Markup:
    """Return a component, a list of them or a text as markup.

    Examples
    --------
    >>> from dash import html
    >>> str(plain(html.P(["a < b", html.Br()], className="small")))
    '<p class="small">a &lt; b<br></p>'
    """
    if part is None:
        return Markup("")
    if isinstance(part, list | tuple):
        return Markup("").join(plain(one) for one in part)
    if isinstance(part, Drawing):
        return picture(getattr(part, "tree", None), getattr(part, "label", ""))
    if not isinstance(part, Component):
        return Markup("{}").format(part)
    tag = "a" if type(part).__name__ == "Link" else type(part).__name__.lower()
    own = part.to_plotly_json()["props"]
    children = own.pop("children", None)
    if own.pop("open", None):
        own["open"] = "open"
    words = Markup("").join(
        Markup(' {}="{}"').format(Markup(NAMES.get(name, name)), _value(value))
        for name, value in own.items()
        if value not in (None, False, "")
    )
    if tag in EMPTY:
        return Markup("<{}{}>").format(Markup(tag), words)
    return Markup("<{0}{1}>{2}</{0}>").format(Markup(tag), words, plain(children))


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return ";".join(f"{name}:{text}" for name, text in value.items())
    return str(value)
