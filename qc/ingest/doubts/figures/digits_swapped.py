"""Two neighbouring digits changed over: 18.391 for 13.891."""

from __future__ import annotations

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.figures.far import FAR_WITH_MEND, agrees, far_figures
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.words import unit_words


def find_digits_swapped(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures far from usual that agree with the others once two digits are changed back."""
    found = []
    for row in far_figures(facts, doubted, FAR_WITH_MEND):
        fits = [value for value in changed_over(row["value"]) if agrees(row, value)]
        if not fits:
            continue
        best = min(fits, key=lambda value: abs(value - row["usual"]))
        others = [f"{value:g}" for value in fits if value != best]
        unit = unit_words(row["unit"])
        problem = f"{row['serial']} reads {row['text']} {unit} where about {row['usual']:.5g} is usual"
        or_else = f" (or {', '.join(others)})" if others else ""
        mend = f"If two digits were changed over, accept {best:g}{or_else}; else confirm the figure."
        found.append(Finding(row[INDEX], Reason.DIGITS_SWAPPED, problem, mend, {"value": best}))
    return Doubted(found)


def changed_over(value: float) -> list[float]:
    """Return the figures that have two neighbouring digits of this one changed over.

    Examples
    --------
    >>> changed_over(14.406)
    [41.406, 14.046, 14.46]
    """
    text = f"{value:.9g}"
    if "e" in text:
        return []
    at = [i for i, letter in enumerate(text) if letter.isdecimal()]
    found = []
    for one, two in zip(at, at[1:], strict=False):
        if text[two] == "0" and one == at[0]:
            continue  # no one writes a nought in front
        letters = list(text)
        letters[one], letters[two] = letters[two], letters[one]
        changed = float("".join(letters))
        if changed != value:
            found.append(changed)
    return found
