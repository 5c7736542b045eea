"""Which page answers which address."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, unquote

from dash import Dash

from qc.jobs.board import SeriesKey


def _always() -> bool:
    return True


@dataclass(frozen=True, slots=True)
class Page:
    """One page: its address, its name in the navigation, what it shows.

    Attributes
    ----------
    path : str
        Address; a part in angle brackets is handed to `layout` and `title` by its name.
    section : str
        Address of the navigation entry that is marked while the page is open.
    layout, title : callable
        Build the page and its window title from the parts of the address.
    nav : str
        Name in the navigation, empty for a page reached from another one.
    register : callable, optional
        Adds the page's callbacks to an app.
    there : callable
        Whether this board has the page; asked for the navigation only.
    """

    path: str
    section: str
    layout: Callable[..., Any]
    title: Callable[..., str]
    nav: str = ""
    register: Callable[[Dash], None] | None = None
    there: Callable[[], bool] = _always


def match(pages: Sequence[Page], path: str) -> tuple[Page, dict[str, str]] | None:
    """Return the page for an address with the parts it names, or None.

    Examples
    --------
    >>> page = Page("/stages/<stage>", "/stages", str, str)
    >>> match([page], "/stages/draw")[1]
    {'stage': 'draw'}
    """
    asked = _parts(path)
    for page in pages:
        wanted = _parts(page.path)
        if len(wanted) != len(asked):
            continue
        pairs = list(zip(wanted, asked, strict=True))
        if all(w == a or w.startswith("<") for w, a in pairs):
            return page, {w[1:-1]: unquote(a) for w, a in pairs if w.startswith("<")}
    return None


def address(template: str, parts: Mapping[str, str]) -> str:
    """Return an address with its parts filled in, safe for any text.

    Examples
    --------
    >>> address("/instruments/<serial>", {"serial": "TQ/1"})
    '/instruments/TQ%2F1'
    """
    filled = template
    for name, value in parts.items():
        filled = filled.replace(f"<{name}>", quote(value, safe=""))
    return filled


def series_address(key: SeriesKey) -> str:
    """Return the address of one series."""
    parts = {"stage": key.stage, "characteristic": key.characteristic, "family": key.family}
    return address("/stages/<stage>/<characteristic>/<family>", parts)


def instrument_address(serial: str) -> str:
    """Return the address of one instrument or part."""
    return address("/instruments/<serial>", {"serial": serial})


def _parts(path: str) -> list[str]:
    return [part for part in path.split("/") if part]
