"""The eight pattern rules on whole columns: one series or ten thousand cost one pass.

Rules are named by what they see, never numbered. Each looks at points in units of their own standard
deviation, so limits that vary from point to point are no special case. The published source is Nelson, "The
Shewhart control chart: tests for special causes", J. Quality Technology 16 (1984), except where noted. A
point on a line is inside; a tie or a point on the centre line breaks a run. Every rule has its price in false
alarms: see docs/reference/rules.md.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import reduce
from itertools import combinations
from operator import and_, or_

import polars as pl

from qc.stats.errors import StatisticsUsageError
from qc.stats.tabled import Tabled

LIMIT = "beyond-limit"
# lengths as Nelson 1984 has them
DEFAULTS: dict[str, int | None] = {
    "avoiding-center": 8,
    "beyond-limit": None,
    "four-of-five-middle": None,
    "hugging-center": 15,
    "same-side": 9,
    "steady-climb": 6,
    "two-of-three-outer": None,
    "zigzag": 14,
}
BLOCK = 1 << 19  # rows worked on at once: measured; smaller blocks cost more calls than the cache saves
WIDEST_WINDOW = 5  # points that a rule without a length of its own looks back over
SLACK = 1e-9  # sigma: rounding of a mean or a limit must not turn a point on the line into one beyond it
_LEAST = {"avoiding-center": 2, "hugging-center": 2, "same-side": 2, "steady-climb": 3, "zigzag": 4}


@dataclass(frozen=True, slots=True, order=True)
class Rule(Tabled):
    """A rule and, where it has one, its length in points."""

    name: str
    length: int | None = None

    def __str__(self) -> str:
        return self.name if self.length is None else f"{self.name}({self.length})"


def parse_rules(text: str) -> tuple[Rule, ...]:
    """Read `none`, `limit`, `all` or rule names with their lengths, separated by commas: each once, sorted.

    Parameters
    ----------
    text : str
        For example `beyond-limit,same-side(8)`; a length left out is the published one.

    Raises
    ------
    StatisticsUsageError
        A name that is not known, or a length that its rule cannot have.

    Examples
    --------
    >>> [str(rule) for rule in parse_rules("same-side,beyond-limit")]
    ['beyond-limit', 'same-side(9)']
    """
    word = text.strip()
    if word == "none":
        return ()
    if word == "limit":
        return (Rule(LIMIT),)
    if word == "all":
        return tuple(Rule(name, length) for name, length in DEFAULTS.items())
    return tuple(sorted({_rule(part) for part in word.split(",")}))


def rule_flags(rows: pl.DataFrame, rules: Iterable[Rule]) -> pl.DataFrame:
    """Two boolean columns a rule, `NAME above` and `NAME below` (`NAME both` where it has no side).

    Parameters
    ----------
    rows : DataFrame
        `z` (deviation from the centre in sd), `z_lower` and `z_upper` (the limits likewise) and `point`
        (1, 2, ... within a series), rows of a series together. A null `z` never offends and breaks every run.
    rules : iterable of Rule
        Which rules; beyond-limit compares `z` with `z_lower` and `z_upper`.

    Returns
    -------
    DataFrame
        As many rows as came in. Each rule is some comparisons and a few operations on bits, so that eight
        rules over ten million rows cost less than their mean and spread.

    References
    ----------
    .. [1] Nelson, J. Quality Technology 16 (1984) 237-239.

    Examples
    --------
    >>> rows = {"z": [0.1] * 9, "z_lower": [-3.0] * 9, "z_upper": [3.0] * 9, "point": range(1, 10)}
    >>> flags = rule_flags(pl.DataFrame(rows), [Rule("same-side", 9)])
    >>> flags["same-side above"].to_list()[-2:]
    [False, True]
    """
    return flags_in_blocks(rows.height, list(rules), lambda begin, end: rows.slice(begin, end - begin))


def flags_in_blocks(
    height: int, rules: Sequence[Rule], rows: Callable[[int, int], pl.DataFrame]
) -> pl.DataFrame:
    """Flag rows in stretches that fit the processor's cache, side by side; `rows(begin, end)` gives some."""
    if not rules:
        return pl.DataFrame()
    reach = max(rule.length or 0 for rule in rules) + WIDEST_WINDOW

    def part(begin: int) -> pl.DataFrame:
        # a block also sees the rows before it that its patterns can reach into
        ahead = min(begin, reach)
        seen = _Seen(rows(begin - ahead, min(begin + BLOCK, height)))
        return pl.DataFrame([column for rule in rules for column in _columns(rule, seen)]).slice(ahead)

    begins = range(0, max(height, 1), BLOCK)
    if len(begins) == 1:
        return part(0)
    with ThreadPoolExecutor(max_workers=min(4, os.cpu_count() or 1)) as pool:
        return pl.concat(list(pool.map(part, begins)), rechunk=False)


def _rule(part: str) -> Rule:
    """Read one name with its length; a length that would make no pattern is refused."""
    match = re.fullmatch(r"\s*([a-z-]+)\s*(?:\((\d+)\))?\s*", part)
    if match is None or match.group(1) not in DEFAULTS:
        known = ", ".join(str(Rule(name, length)) for name, length in DEFAULTS.items())
        raise StatisticsUsageError(
            f"rule {part.strip()!r} is not known: use none, limit, all or some of {known}"
        )
    name, given = match.groups()
    default = DEFAULTS[name]
    if given is None:
        return Rule(name, default)
    if default is None or int(given) < _LEAST[name]:
        need = "has no length" if default is None else f"needs a length of at least {_LEAST[name]}"
        raise StatisticsUsageError(f"rule {part.strip()!r} cannot be used: {name} {need}")
    return Rule(name, int(given))


def column_names(rule: Rule) -> list[str]:
    """Names of the columns that `rule_flags` makes for a rule."""
    sides = ("both",) if rule.name in ("avoiding-center", "hugging-center", "zigzag") else ("above", "below")
    return [f"{rule.name} {side}" for side in sides]


class _Seen:
    """What the rules look at, each compared once: where points lie and how they follow one another."""

    def __init__(self, rows: pl.DataFrame) -> None:
        rows = rows.rechunk()
        self.z, self.point = rows["z"], rows["point"]
        self.z_lower, self.z_upper = rows["z_lower"], rows["z_upper"]
        self._steps: tuple[pl.Series, pl.Series] | None = None

    def above(self, line: float | pl.Series) -> pl.Series:
        """Points above a line."""
        return (self.z > line + SLACK).fill_null(False)

    def below(self, line: float | pl.Series) -> pl.Series:
        """Points below a line."""
        return (self.z < line - SLACK).fill_null(False)

    def within(self, line: float) -> pl.Series:
        """Points no further from the centre than a line."""
        return ((self.z <= line + SLACK) & (self.z >= -line - SLACK)).fill_null(False)

    def steps(self) -> tuple[pl.Series, pl.Series]:
        """Points that lie higher, and lower, than the point before."""
        if self._steps is None:
            step = self.z - self.z.shift(1)
            later = self.point > 1
            up, down = (step > SLACK).fill_null(False), (step < -SLACK).fill_null(False)
            self._steps = (up & later, down & later)
        return self._steps

    def all_of(self, holds: pl.Series, length: int, points: int | None = None) -> pl.Series:
        """Rows at the end of `length` rows that all hold, in a series of at least `points` points so far.

        The window doubles at each step, so that a run of 15 costs four operations and not fourteen.
        """
        have, window = 1, holds
        while have * 2 <= length:
            window, have = window & _shifted(window, have), have * 2
        if have < length:
            window = window & _shifted(window, length - have)
        return window & (self.point >= (points or length))

    def most_of(self, holds: pl.Series, wanted: int, window: int) -> pl.Series:
        """Rows that hold with enough of the rows before them in the window, in one series."""
        back = [_shifted(holds, k) & (self.point > k) for k in range(1, window)]
        enough = [reduce(and_, part) for part in combinations(back, wanted - 1)]
        return holds & reduce(or_, enough)


def _shifted(holds: pl.Series, rows: int) -> pl.Series:
    return holds.shift(rows, fill_value=False)


def _columns(rule: Rule, seen: _Seen) -> list[pl.Series]:
    """Flag one rule; each list is ordered as `column_names` names its sides."""
    length = rule.length or 0
    if rule.name == LIMIT:
        found = [seen.above(seen.z_upper), seen.below(seen.z_lower)]
    elif rule.name == "same-side":
        found = [seen.all_of(seen.above(0.0), length), seen.all_of(seen.below(0.0), length)]
    elif rule.name == "two-of-three-outer":
        found = [seen.most_of(seen.above(2.0), 2, 3), seen.most_of(seen.below(-2.0), 2, 3)]
    elif rule.name == "four-of-five-middle":
        found = [seen.most_of(seen.above(1.0), 4, 5), seen.most_of(seen.below(-1.0), 4, 5)]
    elif rule.name == "hugging-center":
        found = [seen.all_of(seen.within(1.0), length)]
    elif rule.name == "avoiding-center":
        found = [seen.all_of(seen.above(1.0) | seen.below(-1.0), length)]
    else:
        up, down = seen.steps()
        # points have one step less than their number, and turns one less again
        if rule.name == "steady-climb":
            found = [seen.all_of(up, length - 1, length), seen.all_of(down, length - 1, length)]
        else:
            turn = (up & _shifted(down, 1)) | (down & _shifted(up, 1))
            found = [seen.all_of(turn, length - 2, length)]
    return [part.alias(name) for part, name in zip(found, column_names(rule), strict=True)]
