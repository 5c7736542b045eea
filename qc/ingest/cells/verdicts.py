"""What a bench writes for good and for faulty."""

from __future__ import annotations

from qc.ingest.cells.names import plain

GOOD = frozenset("0 ok good pass passed none no fine clean gut".split())
FAULT = frozenset(
    "1 fault faulty fail failed yes x bad reject rejected rework gap pit overrun crack starved fehler "
    "schlecht".split()
)


def read_verdict(text: str) -> tuple[float | None, str]:
    """Read a pass-or-fail cell: 0 for good, 1 for a fault, None where it is neither.

    Examples
    --------
    >>> read_verdict("ok"), read_verdict("Gap"), read_verdict("perhaps")
    ((0.0, ''), (1.0, 'gap'), (None, ''))
    """
    word = plain(text)
    if word in GOOD:
        return 0.0, ""
    if word in FAULT:
        return 1.0, word if word.isalpha() and word not in {"x", "yes"} else ""
    return None, ""
