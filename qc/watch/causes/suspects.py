"""What changed when a signal began, ranked; and what was looked at and did not change.

Choosing the split first and testing a factor at that split afterwards would be circular. Instead every
level of a factor is weighed by the readings themselves: how much likelier are they if the pieces of this
person or batch lie apart than if, for no recorded reason, all pieces from some place on do
(`qc.watch.causes.weighing`)? A mandrel changed once in a year that changes just there says much, a batch
that changes every six pieces only where the change ends with it too, a bench where two people take turns only
where the pieces of one of them are off. Most circumstances are innocent most of the time, so one is named
only above a bar. The words stay careful: "coincides with", never "caused by".
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from qc.plan import Plan
from qc.stats import Noise
from qc.watch.causes.around import BAR, Around, around_of, is_vague
from qc.watch.causes.factors import AIR, CHECKED, Factor, FactorLevels
from qc.watch.causes.open_questions import (
    POSSIBLE,
    Explanation,
    Weighed,
    best_of,
    thin_sentence,
    tie_sentence,
    tied_with_first,
    vague_sentence,
    yet_sentence,
)
from qc.watch.causes.suspect_words import Telling, step_words, suspect_sentence
from qc.watch.causes.unchanged import steady_kinds
from qc.watch.causes.upstream import JITTER, find_step
from qc.watch.causes.weighing import (
    ABSENT,
    SHORT,
    Prior,
    filled,
    finite_log,
    is_new,
    onsets_of,
    split,
)
from qc.watch.results import Point, SignalResult, Suspect
from qc.watch.words import NOTHING_EXPLAINS

RECORDED = 0.8
"""A factor is looked at where it is known of so many of the pieces (shares, 0..1; house rule)."""

THIN = 0.2
"""What is recorded of at least so many of them, and of fewer than `RECORDED`, is told not to be weighed where
it begins with the change (house rule)."""

BESIDE_START = 2
"""It has to begin within so many pieces of where the change is told to begin (house rule)."""

BAR_OF_FIGURES = 3.0
"""Shorter odds than these name no earlier figure of a young change: many are looked at (house rule)."""

OWN = {
    "person": Prior(0.4, half_way=1.0),
    "gauge": Prior(0.2, half_way=0.6),
    "tool": Prior(0.16),
    "batch": Prior(0.5, put_right=False),
    "gauge-check": Prior(0.15),
    "model mix": Prior(0.05),
    "air": Prior(0.2),
}
"""How often a change comes with this, for one that comes with nothing recorded: what the very readings say.
Chosen together with `BAR`, so that no kind is named wrongly much more often than the others."""

BESIDE = {"person": Prior(0.1, half_way=0.1), "upstream": Prior(0.2)}
"""The same of other cards of the stage and of parts that went in."""

EARLIER = {"person": Prior(0.05, half_way=0.05), "tool": Prior(0.06), "batch": Prior(0.06, put_right=False)}
"""The same of all cards of earlier stages together."""

MANY_FOR_SHORT = 2 * SHORT
"""What is used on more pieces than these explains no change that was over after `SHORT` (house rule)."""

ROUNDED = 1 - 1e-9
"""Odds that miss a bar by rounding alone reach it: processors differ in their last bits."""

MOST_NAMED = 5

FOLLOWING = frozenset({"batch", "tool", "gauge"})
"""What follows one another in use: a new one takes the place of the last (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class _Column:
    """One factor, its level on every piece, what is known of it beforehand, and how it is named."""

    factor: Factor
    levels: list[str]
    prior: Prior
    told: bool  # cards of its stage differ: the figure is told
    came_in: Mapping[str, str]  # source of each batch where it came in


def find_suspects(
    points: Sequence[Point],
    signal: SignalResult,
    factors: FactorLevels,
    plan: Plan,
    stage_index: int,
    today: date | None = None,
    *,
    own: Collection[str] = (),
    apart: Collection[int] = (),
    worn: bool = False,
    noise: Noise | None = None,
) -> Explanation:
    """Rank what changed where a signal began.

    Parameters
    ----------
    points : sequence of Point
        The series, in order of making, with what its own readings say of person, gauge, tool and batch.
    signal : SignalResult
        Uses its kind, side, start and the 90 % set of the start.
    factors : FactorLevels
        What was recorded around each piece elsewhere.
    plan : Plan
        Gives the names of tools and gauges and when they were fitted.
    stage_index : int
        Place of the series' stage in the route; later stages cannot be suspects.
    today : date, optional
        Days long before it are told with their year.
    own : collection of str
        Figures of the stage that the series is made of.
    apart : collection of int
        Ordinals of pieces that other changes speak of; they take no part.
    worn : bool
        Whether the series is judged about the line of its tool.
    noise : Noise, optional
        What was learned of how the series scatters; without it readings are taken to scatter normally.

    Returns
    -------
    Explanation
        Suspects, what did not change, and what the record leaves open.
    """
    known = factors.beside(points, plan, stage_index, own)
    unchanged = steady_kinds(points, signal, known, stage_index)
    around = around_of(points, signal, frozenset(apart), noise, worn=worn)
    if around is None:
        return Explanation((), unchanged, vague_sentence(signal) if is_vague(points, signal) else "")
    telling = Telling(points, plan, today)
    weighed = best_of(_of_factors(around, telling, known, stage_index))
    found = [one for one in weighed if one.odds >= around.bar * ROUNDED]
    figures: list[Suspect] = []
    if not around.short and not around.vague:  # a level that stays explains no piece or two that stand apart
        figures = _of_figures(around, telling, signal, known)
    ranked = sorted([*(one.suspect for one in found), *figures], key=lambda s: -s.weight)
    if not ranked and around.vague:
        return Explanation((), unchanged, vague_sentence(signal))
    if not ranked:
        yet = yet_sentence(telling, signal, weighed, BAR)
        thin = thin_sentence(telling, _too_thin(around, telling, signal, known, stage_index))
        return Explanation((), unchanged, f"{yet or NOTHING_EXPLAINS} {thin}" if thin else yet)
    tied = tied_with_first(weighed) if found and ranked[0] is found[0].suspect else []
    if not tied:
        return Explanation(tuple(ranked[:MOST_NAMED]), unchanged)
    beside = [one.suspect for one in tied]
    named = [ranked[0], *beside, *(one for one in ranked[1:] if one not in beside)]
    return Explanation(tuple(named[:MOST_NAMED]), unchanged, tie_sentence(telling, [weighed[0], *tied]))


def _of_factors(around: Around, telling: Telling, known: FactorLevels, stage_index: int) -> list[Weighed]:
    """Weigh every level of every factor that is recorded of these pieces."""
    factors = known.up_to(stage_index)
    here = telling.plan.stages[stage_index].id
    cards = Counter((f.kind, f.source, f.stage) for f in factors)
    earlier = Counter(f.kind for f in factors if f.stage not in {"", here})
    # the same batch may stand on two cards: it is named by where it came in
    batches = (f for f in reversed(factors) if f.kind == "batch")
    came_in = {level: f.source for f in batches for level in known.levels[f].values()}
    found = []
    for factor in factors:
        levels = [known.levels[factor].get(p.serial, "") for p in telling.points]
        near = [levels[i] for i in around.place]
        if sum(map(bool, near)) < RECORDED * len(near):
            continue
        own = not factor.stage and known.route[factor] == stage_index
        if factor.stage not in {"", here}:
            # of many cards before, one is rarely it
            prior = _shared(EARLIER[factor.kind], earlier[factor.kind])
        else:
            prior = (OWN if own else {**OWN, **BESIDE})[factor.kind]
        told = cards[factor.kind, factor.source, factor.stage] > 1
        column = _Column(factor, filled(levels), prior, told, came_in if factor.kind == "batch" else {})
        found += _of_levels(around, telling, column)
    return found


def _too_thin(
    around: Around, telling: Telling, signal: SignalResult, known: FactorLevels, stage_index: int
) -> list[tuple[Factor, str, Point, int, int]]:
    """Return what begins on the first pieces of a change and is on record of too few pieces to be weighed.

    Its factor, level and first piece, and of how many of the pieces around it anything is recorded.
    """
    found = []
    for factor in known.up_to(stage_index):
        near = [known.levels[factor].get(telling.points[i].serial, "") for i in around.place]
        told = sum(map(bool, near))
        if factor.kind not in {"batch", "tool"} or not THIN * len(near) <= told < RECORDED * len(near):
            continue
        begin = int(np.searchsorted(around.place, signal.start - 1))
        zone = range(max(begin - BESIDE_START, 1), min(begin + BESIDE_START + 1, len(near)))
        before = {name for level in near[: zone.start] for name in split(level)}
        new = [(abs(n - begin), n, name) for n in zone for name in split(near[n]) if name not in before]
        # nothing is known to begin where nothing is known of the pieces before
        if new and before:
            _, n, name = min(new)
            found.append((factor, name, telling.points[int(around.place[n])], told, len(near)))
    return found


def _shared(prior: Prior, cards: int) -> Prior:
    return replace(prior, new=prior.new / cards, half_way=prior.half_way / cards)


def _of_levels(around: Around, telling: Telling, column: _Column) -> list[Weighed]:
    factor, levels = column.factor, column.levels
    near = [frozenset(split(levels[i])) for i in around.place]
    names = [n for n in dict.fromkeys(name for own in near for name in sorted(own)) if n != CHECKED]
    onsets = len(onsets_of(levels))
    found = []
    for name in names:
        own = np.array([float(name in each) for each in near])
        first = next((n for n in around.zone if own[n]), None)
        if first is None or own.all() or around.short and own[first:].sum() > MANY_FOR_SHORT:
            continue
        new = is_new(levels, name, int(around.place[first]))
        # a piece or two apart say nothing of a person's other pieces
        prior = replace(column.prior, half_way=0.0) if around.short else column.prior
        how, at, odds = around.scale.level(own, first if new else None, onsets, len(names), prior)
        if how == "throughout":
            at = first
        if odds < POSSIBLE * ROUNDED or at not in around.zone:
            continue
        point = telling.points[int(around.place[at])]
        before = _before(factor, name, [levels[i] for i in around.place[max(at - ABSENT, 0) : at]])
        named = replace(factor, source=column.came_in.get(name, factor.source))
        sentence = suspect_sentence(telling, named, name, point, how, column.told)
        suspect = Suspect(
            kind=factor.kind,
            name=factor.source if factor.kind == "gauge-check" else name,
            before=before,
            serial=point.serial,
            day=point.day,
            sentence=sentence,
            weight=round(finite_log(odds), 4),
        )
        found.append(Weighed(suspect, named, odds, around.scale.best(own, at)))
    return found


def _before(factor: Factor, name: str, earlier: Sequence[str]) -> str:
    """Return what was in use just before a suspect; empty where that is not known, or was the suspect itself.

    Lots, tools and gauges follow one another, so it is the last one. People and models take turns: of them it
    is the one with most of the pieces before.
    """
    if factor.kind in FOLLOWING:
        last = next((level for level in reversed(earlier) if level), "")
        return "" if name in split(last) else last
    usual = max(dict.fromkeys(earlier), key=earlier.count, default="")
    return "" if usual == name else usual


def _of_figures(
    around: Around, telling: Telling, signal: SignalResult, factors: FactorLevels
) -> list[Suspect]:
    """Weigh steps of the air temperature and of earlier figures."""
    low, high = max(signal.start_low - 1, 1), max(signal.start_high - 1, 1)
    last = len(telling.points) if signal.ended is None else signal.ended - 1
    columns = {f: [own.get(p.serial, np.nan) for p in telling.points] for f, own in factors.figures.items()}
    known = {f: v for f, v in columns.items() if np.isfinite(v).sum() >= RECORDED * len(v)}
    at_place = {int(i): n for n, i in enumerate(around.place)}
    found = []
    for figure, values in known.items():
        step = find_step(values, low, high, last, len(known))
        if step is None:
            continue
        kind = "air" if figure == AIR else "upstream"
        near = [at_place[i] for i in range(step.at - JITTER, step.at + JITTER + 1) if i in at_place]
        per_piece = step.rarity / (high - low + 1 + 2 * JITTER)
        odds = around.scale.step(near, per_piece) * step.separation
        odds *= OWN["air"].new if kind == "air" else BESIDE["upstream"].new
        if odds < max(around.bar, BAR_OF_FIGURES if around.young else 0.0):
            continue
        first = telling.points[step.at]
        name, sentence = step_words(telling, figure, step.size, first)
        found.append(Suspect(kind, name, "", first.serial, first.day, sentence, round(finite_log(odds), 4)))
    return found
