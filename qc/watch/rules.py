"""The classic pattern rules on a series of the board: what each looks for, its price, what it finds.

They are off until someone asks for them. The board's own signals come from the change-point detector, whose
rate is set by the budget; a rule has whatever rate it has, and that price stands beside its switch.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, cast

import numpy as np
import polars as pl

from qc.stats import (
    LimitRule,
    Rule,
    Setting,
    StatisticsError,
    individuals,
    parse_rules,
    rule_flags,
    rule_run_length,
)
from qc.watch.results import Point, SeriesVerdict

RULE_WORDS: Final = {
    "avoiding-center": "in a row all far from the middle, on either side",
    "beyond-limit": "one piece beyond a limit",
    "four-of-five-middle": "four of five beyond one spread on the same side",
    "hugging-center": "in a row all close to the middle",
    "same-side": "in a row on the same side of the middle",
    "steady-climb": "in a row that only climb or only fall",
    "two-of-three-outer": "two of three beyond two spreads on the same side",
    "zigzag": "in a row that go up and down by turns",
}
"""What each rule looks for, in words; those with a length begin with it."""

LIMIT_METHODS: Final = ("textbook", "prediction", "guaranteed")
LEAST_BASE: Final = 4
"""Fewer pieces give no centre and no spread to hold a rule against (house rule)."""


@dataclass(frozen=True, slots=True)
class RuleOffer:
    """A rule that may be switched on: its id, its length, what it looks for, and its price."""

    id: str
    length: int | None
    words: str
    price: float  # pieces between two false signals on average, centre and spread known


@dataclass(frozen=True, slots=True)
class RuleHit:
    """A piece that offends against one or more rules."""

    point: Point
    rules: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RulesView:
    """What some rules find on a series; `reason` says why they cannot be held against it."""

    reason: str = ""
    first: int = 0  # ordinals of the pieces that centre and spread are taken from
    last: int = 0
    n: int = 0
    center: float = 0.0
    lower: float = 0.0
    upper: float = 0.0
    limits: str = "textbook"
    judged: int = 0  # pieces that the rules were held against
    hits: tuple[RuleHit, ...] = ()


@lru_cache(maxsize=1)
def rule_offers() -> tuple[RuleOffer, ...]:
    """Return the rules of the `qc study` contract, alphabetically, each with its price.

    Examples
    --------
    >>> [(offer.id, round(offer.price)) for offer in rule_offers()][1]
    ('beyond-limit', 370)
    """
    return tuple(
        RuleOffer(
            rule.name,
            rule.length,
            f"{rule.length} {RULE_WORDS[rule.name]}" if rule.length else RULE_WORDS[rule.name],
            rule_run_length([rule]).mean,
        )
        for rule in parse_rules("all")
    )


def rules_price(chosen: Sequence[str]) -> float | None:
    """Return the pieces between two false signals when these rules are used together.

    Parameters
    ----------
    chosen : sequence of str
        Rule ids; unknown ones are passed over.

    Returns
    -------
    float or None
        Exact, centre and spread known. [pieces] None without a rule, or where so many long rules together
        outgrow the computation.

    Examples
    --------
    >>> round(rules_price(["beyond-limit", "same-side"]))
    217
    """
    return _price(tuple(known_rules(chosen)))


def known_rules(chosen: Sequence[str]) -> list[str]:
    """Return the ids among `chosen` that are rules, each once, alphabetically."""
    return [name for name in RULE_WORDS if name in chosen]


def apply_rules(verdict: SeriesVerdict, chosen: Sequence[str], limits: str = "textbook") -> RulesView:
    """Hold rules against a series.

    Parameters
    ----------
    verdict : SeriesVerdict
        The series. Centre and spread come from its frozen settled state; else, where it drifts, from the
        stretch before the change; else from the present stretch. The rules begin with that stretch.
    chosen : sequence of str
        Rule ids; unknown ones are passed over.
    limits : str
        `textbook`, `prediction` or `guaranteed`: how far the limits of `beyond-limit` stand off the centre.

    Returns
    -------
    RulesView
        One hit for each offending piece. Pieces left out set nothing, are not judged and break every run.
    """
    reason = why_none(verdict)
    if reason:
        return RulesView(reason)
    first, last = base_of(verdict)
    base = np.array([p.value for p in verdict.points if first <= p.ordinal <= last and not p.left_out])
    method = limits if limits in LIMIT_METHODS else "textbook"
    try:
        rule = LimitRule.parse(method)
        chart = individuals(base, Setting(limits=rule))
    except StatisticsError as error:
        return RulesView(f"{error}.")
    center, sigma = cast(float, chart.center), cast(float, chart.sigma)
    lower, upper = cast(float, chart.lower), cast(float, chart.upper)
    judged = [p for p in verdict.points if p.ordinal >= first]
    rows = pl.DataFrame(
        {
            "z": [None if p.left_out else (p.value - center) / sigma for p in judged],
            "z_lower": [(lower - center) / sigma] * len(judged),
            "z_upper": [(upper - center) / sigma] * len(judged),
            # counted from the base's first piece: patterns must not begin before the
            # state they are held against
            "point": range(1, len(judged) + 1),
        },
        schema_overrides={"z": pl.Float64},
    )
    return RulesView(
        first=first,
        last=last,
        n=int(base.size),
        center=center,
        lower=lower,
        upper=upper,
        limits=method,
        judged=sum(not p.left_out for p in judged),
        hits=_hits(judged, rows, known_rules(chosen)),
    )


def why_none(verdict: SeriesVerdict) -> str:
    """Return why no rule can be held against a series; empty where it can."""
    if verdict.kind != "measured":
        return "The rules are for measured figures; counts are watched by an exact test."
    if verdict.follows_line:
        return "This figure wears along its tool's line; the rules need a level."
    first, last = base_of(verdict)
    count = sum(first <= p.ordinal <= last and not p.left_out for p in verdict.points)
    if count < LEAST_BASE:
        return f"{count} of {LEAST_BASE} pieces; the rules need a centre and a spread."
    return ""


def base_of(verdict: SeriesVerdict) -> tuple[int, int]:
    """Return the ordinals of the pieces that centre and spread are taken from."""
    if verdict.baseline_first is not None and verdict.baseline_last is not None:
        return verdict.baseline_first, verdict.baseline_last
    if not verdict.stretches:
        return 1, 0
    signal = verdict.telling
    before = [s for s in verdict.stretches if signal is not None and s.last < signal.start]
    chosen = before[-1] if before else verdict.stretches[-1]
    return chosen.first, chosen.last


def _hits(judged: Sequence[Point], rows: pl.DataFrame, chosen: Sequence[str]) -> tuple[RuleHit, ...]:
    if not chosen:
        return ()
    flags = rule_flags(rows, parse_rules(",".join(chosen)))
    found: dict[int, list[str]] = {}
    for column in flags.columns:
        name = column.rsplit(" ", 1)[0]
        for place in flags[column].fill_null(value=False).arg_true():
            rules = found.setdefault(int(place), [])
            if name not in rules:
                rules.append(name)
    return tuple(RuleHit(judged[place], tuple(sorted(rules))) for place, rules in sorted(found.items()))


@lru_cache(maxsize=256)
def _price(chosen: tuple[str, ...]) -> float | None:
    if not chosen:
        return None
    try:
        mean = rule_run_length([_published(name) for name in chosen]).mean
    except StatisticsError:
        return None
    return mean if math.isfinite(mean) else None


def _published(name: str) -> Rule:
    return parse_rules(name)[0]
