"""Lines and columns that are worked out from others, or say what is wanted: they hold no reading."""

from __future__ import annotations

import re
from functools import lru_cache

from qc.ingest.cells.names import plain

SUMMARY = frozenset(
    "mean|average|avg|ave|aver|sum|total|totals|min|max|minimum|maximum|range|sd|s|std|stdev|std dev|stddev|"
    "standard deviation|median|mean value|x bar|subtotal|grand total|"
    "mittel|mittelwert|mw|summe|gesamt|durchschnitt|schnitt|spanne|spannweite|stabw|standardabweichung|"
    "moyenne|somme|totale|media|promedio|suma|gemiddelde|totaal|medel|medelvärde|snitt|gennemsnit|"
    "gjennomsnitt|keskiarvo|średnia|průměr|ø|⌀|∅|σ|∑|x̄|x̅".split("|")
)
"""Words for what is worked out from the rows above, in the languages of the neighbours too."""

WANTED = frozenset(
    "target|nominal|limit|limits|lower limit|upper limit|tolerance|tol|soll|sollwert|ziel|zielwert|"
    "grenze|grenzwert|toleranz|untere grenze|obere grenze|specification|spec".split("|")
)
"""Words for what is wanted and not read."""

_COUNTED = re.compile(
    r"\s*[.:=(\[]*\s*(?:(?:of|n|aus|von|over|the|all|aller|alle|value|values|row|line|wert|werte|pieces|piece|"
    r"stück|[\d.,()\[\]=:%])\s*)*"
)
_DIAMETER = frozenset("ø⌀∅")


@lru_cache(maxsize=8192)
def is_worked_out(text: str) -> bool:
    """Tell whether a cell that should name a piece or a place names what was worked out or wanted.

    Examples
    --------
    >>> [is_worked_out(text) for text in ("Mean", "avg of 3", "Ø (n=2)", "Soll:", "S-12", "max")]
    [True, True, True, True, False, True]
    """
    name = plain(text)
    if name in SUMMARY or name in WANTED:
        return True
    first = re.split(r"[\s.:=(\[]", name, maxsplit=1)[0]
    known = first in SUMMARY | WANTED and (len(first) > 2 or not first.isascii())
    return known and bool(_COUNTED.fullmatch(name[len(first) :]))


def is_worked_out_heading(text: str) -> bool:
    """Tell whether a heading says that its figures were worked out from those beside it.

    The sign of a mean is that of a diameter too, so a heading is not taken for a mean by it.

    Examples
    --------
    >>> [is_worked_out_heading(text) for text in ("Mean", "Hardness avg", "Total [um]", "Ø [mm]")]
    [True, True, True, False]
    """
    words = plain(re.sub(r"[\[(].*?[\])]", "", text)).split(" ")
    ends = {words[0], words[-1], " ".join(words)} & SUMMARY
    return any(word not in _DIAMETER and (len(word) > 2 or not word.isascii()) for word in ends)
