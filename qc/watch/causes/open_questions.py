"""What the record leaves open of a change: two things that began together, or too few pieces to tell yet.

Two circumstances that began on the same pieces fit the readings alike, and no weighing parts them: what is
known beforehand of their kinds is no evidence. Both are named then, with what would tell them apart. Where
the readings do not suffice yet to name a recorded thing, that is said too, with how many pieces more would.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from qc.plan import Plan
from qc.watch.causes.factors import UNCHECKED, Factor
from qc.watch.causes.suspect_words import Telling, level_words
from qc.watch.results import Point, SignalResult, Suspect
from qc.words import listed

POSSIBLE = 0.3
"""Odds against nothing recorded from which a thing may be it, without being named (house rule)."""

ALIKE = 3.0
"""Where the readings are no more than so many times likelier under one of two explanations, they do not tell
them apart (house rule)."""

SIZES = (1.0, 3.0)
"""Sizes of a change within which pieces still to come are reckoned. [standard deviations; house rule]"""

SOON = 20
"""With so many pieces since, what is not the likeliest by far will not become so soon (house rule)."""

PIECES = (2, 12)
"""Fewest pieces that tell anything, and most that one is told to wait for (house rule)."""


TIED = "the record cannot tell them apart"
"""Said of things that began together."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """One level of a factor, weighed.

    Attributes
    ----------
    suspect : Suspect
        As it is named.
    factor : Factor
        The column it stands in.
    odds : float
        Against nothing recorded.
    fit : float
        How likely the readings are if its pieces lie apart, at best; on a scale common to one change.
    """

    suspect: Suspect
    factor: Factor
    odds: float
    fit: float


class Explanation(NamedTuple):
    """What a change coincides with.

    Attributes
    ----------
    suspects : tuple of Suspect
        Strongest first; empty where nothing recorded explains the change. `weight` is the logarithm of the
        odds against nothing recorded.
    unchanged : tuple of str
        Kinds of circumstances that were recorded of these readings and did not change, in plain words.
    left_open : str
        Where the first suspect cannot be told from another one, or nothing explains the change yet: a
        sentence that says so. Else empty.
    """

    suspects: tuple[Suspect, ...]
    unchanged: tuple[str, ...]
    left_open: str = ""


def best_of(weighed: Sequence[Weighed]) -> list[Weighed]:
    """Return each thing once, the likeliest first; of several cards it is named by where it came in."""
    unique: dict[tuple[str, str], Weighed] = {}
    for one in weighed:
        key = one.suspect.kind, one.suspect.name
        first = unique.setdefault(key, one)
        if one.odds > first.odds:
            named = replace(first.suspect, weight=one.suspect.weight)
            unique[key] = Weighed(named, first.factor, one.odds, one.fit)
    return sorted(unique.values(), key=lambda one: -one.odds)


def tied_with_first(weighed: Sequence[Weighed]) -> list[Weighed]:
    """Return what began on the day of the likeliest and fits the readings as well as it does."""
    first = weighed[0]
    return [
        one
        for one in weighed[1:]
        if one.suspect.day == first.suspect.day and 0 < first.fit / ALIKE <= one.fit <= first.fit * ALIKE
    ]


def tie_sentence(telling: Telling, tied: Sequence[Weighed]) -> str:
    """Say that the record cannot tell some things apart, and what would."""
    names = listed([level_words(telling.plan, one.factor, _level(one)) for one in tied])
    return f"{names} began together: {TIED}. To tell, {_trial(telling.plan, tied)}."


def yet_sentence(telling: Telling, signal: SignalResult, weighed: Sequence[Weighed], bar: float) -> str:
    """Say how many more pieces would tell whether the likeliest thing is it; empty where none may be.

    Each piece without it lies at the old level or at the new one: with a change of d standard deviations it
    adds d squared half to the logarithm of the odds, on average, for normal readings whose levels are known.
    """
    if not weighed or signal.ended is not None or signal.kind == "single" or signal.pieces >= SOON:
        return ""
    first = weighed[0]
    size = min(max(abs(signal.size_sigma or SIZES[0]), SIZES[0]), SIZES[1])
    lacking = math.ceil(2 * math.log(max(bar / first.odds, 1.0)) / size**2)
    pieces = min(max(lacking, PIECES[0]), PIECES[1])
    name = level_words(telling.plan, first.factor, _level(first))
    others = {
        "person": f"by others than {first.suspect.name}",
        "gauge": f"measured with another gauge than {name}",
        "tool": f"made with another tool than {name}",
        "batch": f"of another batch than {name}",
    }
    without = others.get(first.suspect.kind, f"without {name}")
    return f"Nothing recorded explains it yet; more will be known after about {pieces} more pieces {without}."


def thin_sentence(telling: Telling, thin: Sequence[tuple[Factor, str, Point, int, int]]) -> str:
    """Say what begins with a change and stands on too few pieces to be weighed; empty where nothing does."""
    if not thin:
        return ""
    factor, level, point, told, pieces = thin[0]
    name = level_words(telling.plan, factor, level)
    return (
        f"{name[:1].upper()}{name[1:]} begins there too, on {point.serial}, and is not weighed: only {told} "
        f"of the {pieces} pieces around it have that on record. Rows that are held may lack: qc held list."
    )


def vague_sentence(signal: SignalResult) -> str:
    """Say that it is not known yet where a change began; empty of one that is over or long since."""
    if signal.ended is not None or signal.kind == "single" or signal.pieces >= SOON:
        return ""
    places = signal.start_high - signal.start_low + 1
    return (
        f"Nothing recorded explains it yet: it may have begun on any of {places} pieces, and later ones will "
        "tell."
    )


def _level(one: Weighed) -> str:
    return UNCHECKED if one.suspect.kind == "gauge-check" else one.suspect.name


def _trial(plan: Plan, tied: Sequence[Weighed]) -> str:
    """Say what to do so that one of some things is there without the others."""

    def first_of(kind: str) -> Weighed | None:
        return next((one for one in tied if one.suspect.kind == kind), None)

    again = "measure two of these pieces again"
    if unchecked := first_of("gauge-check"):
        return f"check {unchecked.suspect.name} and {again}"
    if gauge := first_of("gauge"):
        return f"{again} with {_before(plan, gauge) or 'another gauge'}"
    # a tool that was put aside can be fitted again, a batch is used up
    apart = first_of("person") or first_of("tool") or tied[0]
    rest = next(one for one in tied if one is not apart)
    name = level_words(plan, rest.factor, _level(rest))
    if apart.suspect.kind == "person":
        return f"have two pieces with {name} done by {_before(plan, apart) or 'somebody else'}"
    left = ", if some of it is left" if apart.suspect.kind == "batch" else ""
    return f"do two pieces with {name} and {_before(plan, apart) or 'what was there before'}{left}"


def _before(plan: Plan, one: Weighed) -> str:
    return level_words(plan, one.factor, one.suspect.before) if one.suspect.before else ""
