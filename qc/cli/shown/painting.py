"""Marks and colours for a terminal that has them: what asks for somebody stands out, never by colour alone.

The words stay as they are; a mark takes the place of blanks after them, so that columns stand as they stood.
"""

from __future__ import annotations

import re

from qc.states import DRIFTING, NOT_KEPT, OFF, OPEN, OUTSIDE, OVERDUE

MARK = "▲"
"""Stands for what lasts and asks for somebody, as in the report."""

_ASKS = "|".join(re.escape(word) for word in (DRIFTING, NOT_KEPT, OUTSIDE.upper(), OFF, OVERDUE, OPEN))
_CELL = re.compile(rf"(?m)(?<=  )({_ASKS})(  (?= |$)|$)")
_STRONG, _ASKING, _PLAIN = "\x1b[1m", "\x1b[33m", "\x1b[0m"


def painted(text: str, *, marks: bool = True, colours: bool = True) -> str:
    """Let cells that ask for somebody stand out, and the first line be the heading it is.

    Parameters
    ----------
    text : str
        An answer, set to its width.
    marks : bool
        Whether the terminal can show `MARK`.
    colours : bool
        Whether it shows colours, and nobody asked it not to (`NO_COLOR`).

    Examples
    --------
    >>> painted("Slide: Slide force  drifting          limits kept", colours=False)
    'Slide: Slide force  drifting ▲        limits kept'
    """
    mark = f" {MARK}" if marks else "  "
    before, after = (_ASKING, _PLAIN) if colours else ("", "")
    first, line, rest = text.partition("\n")
    if colours and line:
        first = f"{_STRONG}{first}{_PLAIN}"
    said = first + line + rest
    return _CELL.sub(lambda found: f"{before}{found[1]}{mark if found[2] else ''}{after}", said)
