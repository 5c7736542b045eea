"""Lists of events among the sheets of a workshop without a plan: known by their columns, all of them."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from qc.ingest.cells import heading, plain

EVENT_COLUMNS: dict[str, tuple[frozenset[str], frozenset[str]]] = {
    "shipped": (frozenset({"serial", "shipped"}), frozenset({"cause"})),
    "returned": (frozenset({"serial", "returned"}), frozenset({"cause"})),
    "gauge-check": (frozenset({"gauge", "deviation"}), frozenset({"day", "master", "zeroed"})),
    "rework": (frozenset({"serial", "hours"}), frozenset({"day", "stage", "cause"})),
    "play-test": (frozenset({"serial", "verdict"}), frozenset({"day"})),
    "part": (frozenset({"serial", "part", "role"}), frozenset({"day", "batch", "tool"})),
    "tool-fitted": (frozenset({"day", "tool", "tool_class"}), frozenset()),
}
"""Event -> the columns its list has to have, and those it may have: as the reference of sheets gives them."""

BESIDE = frozenset({"", "model", "person", "note", "time", "card"})
"""What any list may have beside them."""

_TITLES = {
    "shipped": "Shipped",
    "returned": "Returned",
    "gauge-check": "Gauge checks",
    "rework": "Rework",
    "play-test": "Play-test",
    "part": "Parts built in",
    "tool-fitted": "Tools fitted",
}


def event_of(columns: Sequence[tuple[str, list[str]]], in_head: Collection[str] = ()) -> str:
    """Return which event a sheet lists, empty where its columns are not exactly those of one.

    Examples
    --------
    >>> event_of([("Serial", ["A-1"]), ("Shipped", ["2026-06-23"])])
    'shipped'
    >>> event_of([("Serial", ["A-1"]), ("Shipped", ["2026-06-23"]), ("Mass [g]", ["412"])])
    ''
    """
    known = [heading(label).field for label, _ in columns]
    if any(not field and any(texts) for field, (_, texts) in zip(known, columns, strict=True)):
        return ""
    own = {*known, *in_head} - {""}
    for event, (needs, may) in EVENT_COLUMNS.items():
        if needs <= own and set(known) <= needs | may | BESIDE:
            return event
    return ""


def event_title(event: str, title: str) -> str:
    """Return the title of the card of an event: the sheet's own where it says one that is no single word."""
    return title if " " in title else _TITLES[event]


def codes_in(columns: Sequence[tuple[str, list[str]]], field: str) -> list[str]:
    """Return what stands under a heading, each once."""
    texts = [text for label, cells in columns if heading(label).field == field for text in cells]
    return list({plain(text): text for text in texts if text}.values())
