"""Marks that stand where a figure or a name could: not measured, as above, counted by strokes, a range."""

from __future__ import annotations

import re

BLANK = frozenset(
    {"-", "--", "---", "\u2010", "\u2012", "\u2013", "\u2014", "\u2212", "n/a", "n.a.", "na", "n.m."}
)
"""What a bench writes for "not measured"; common practice, no source."""

DITTO = frozenset({'"', "''", '""', "\u201d", "\u201e", "\u2033", "\u3003", "do.", "dto.", "dto", "ditto"})
"""What a bench writes for "as above"; common practice, no source."""

_ABOUT_WORDS = r"(?:[~\u2248\u223c]|(?:ca|circa|approx|about|etwa|rund|ungefähr)\b\.?)"
_ABOUT = re.compile(rf"^{_ABOUT_WORDS}\s*([+-]?[\d.,].*)$", re.IGNORECASE)
"""Marks of a figure that was not read off; common practice, no source."""

_STROKES = re.compile(r"^[|Il](?:[|Il]{0,3})$")
_RANGE = re.compile(
    r"^(?P<first>\S*\d)\s*(?:\s[-\u2013\u2014]\s|\u2013|\u2014|\.\.+|\s+to\s+|\s+bis\s+)\s*(?P<last>\S*\d)$"
)

_SHAPED = re.compile(
    r"^(?P<head>[^\W\d_]*)(?P<first>\d{2,})(?P<tail>[^\W\d_]*)\s*"
    r"(?P<sign>[-\u2010-\u2015/,;+&]|\u2026|\.\.+|to|bis|and|und)\s*"
    r"(?P<again>[^\W\d_]*)(?P<last>\d{2,})(?P<end>[^\W\d_]+)(?:\s*[-/,;+&].*)?$",
    re.IGNORECASE,
)
"""Two numbers with the letters of a serial behind them: ``449T - 451T``, ``449-451T``."""

_SAME_HEAD = re.compile(
    r"^(?P<head>[^\W\d]\D*)(?P<first>\d+)\s*(?:[-,;/+&]|and|und)\s*(?P=head)(?P<last>\d+)(?:\s*[,;/+&].*)?$",
    re.IGNORECASE,
)


def is_blank_mark(text: str) -> bool:
    """Tell whether a cell says that nothing was measured.

    Examples
    --------
    >>> is_blank_mark("-"), is_blank_mark("?"), is_blank_mark("-2")
    (True, False, False)
    """
    return len(text) <= 5 and text.strip().casefold() in BLANK


def about(text: str) -> str:
    """Return the figure behind a mark that says "about", empty where there is no such mark.

    Examples
    --------
    >>> about("ca. 118"), about("~14,05"), about("etwa 3"), about("118")
    ('118', '14,05', '3', '')
    """
    found = _ABOUT.match(text.strip())
    return found[1] if found is not None else ""


def is_ditto(text: str) -> bool:
    """Tell whether a cell says that what stands above holds here too.

    Examples
    --------
    >>> is_ditto('"'), is_ditto("dto."), is_ditto("0")
    (True, True, False)
    """
    return len(text) <= 6 and text.strip().casefold() in DITTO


def read_tally(text: str) -> int | None:
    """Count the strokes of one group, None where the text is none.

    A group of five or more, or several groups, stays unread: whether a stroke lies across the four before it
    is lost where strokes are typed, so that ``|||| |`` may be five or six.

    Examples
    --------
    >>> read_tally("III"), read_tally("||"), read_tally("|||| |"), read_tally("3")
    (3, 2, None, None)
    """
    tidy = text.strip()
    return len(tidy) if _STROKES.match(tidy) else None


NOTHING = frozenset("none|nil|keine|keiner|kein|no|nothing|nichts|zero|null|ohne".split("|"))
"""What a bench writes for a count of nothing; common practice, no source."""

_SIGNS = re.compile(r"^(?:x{1,9}|[×✗✘]{1,9}|[✓✔]{1,9}|[•●*]{1,9})$", re.IGNORECASE)


def signs_counted(text: str) -> int | None:
    """Count signs that may stand for one each; it is for the bench to say, since a tick may say "looked at".

    Examples
    --------
    >>> signs_counted("xx"), signs_counted("✓"), signs_counted("3")
    (2, 1, None)
    """
    tidy = text.strip()
    return len(tidy) if _SIGNS.match(tidy) else None


def is_serial_range(text: str) -> bool:
    """Tell whether a serial names several pieces, from one to another or one beside another.

    Examples
    --------
    >>> is_serial_range("R1001 - R1003"), is_serial_range("R1001-R1003"), is_serial_range("R1001, R1002")
    (True, True, True)
    >>> is_serial_range("449T - 451T"), is_serial_range("449T/450T"), is_serial_range("449-451T")
    (True, True, True)
    >>> is_serial_range("R1001-3"), is_serial_range("KT26-29"), is_serial_range("26-451T")
    (False, False, False)
    """
    typed = text.strip()
    if _RANGE.match(typed) is not None:
        return True
    shaped = _SHAPED.match(typed)
    if shaped is not None:
        one, two = (shaped["tail"].casefold(), shaped["end"].casefold())
        whole = one == two and shaped["again"].casefold() in {"", shaped["head"].casefold()}
        short = not one and len(shaped["first"]) == len(shaped["last"]) and not shaped["again"]
        return (whole or short) and shaped["first"] != shaped["last"]
    found = _SAME_HEAD.match(typed)
    return found is not None and found["first"] != found["last"]
