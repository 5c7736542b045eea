"""How much better a recorded circumstance explains a change than a beginning at any piece would.

A change that nothing recorded explains may begin at any piece and end at any later one, or last. One that a
new batch, tool or person explains begins with it and touches its pieces only. Both say which pieces lie apart
from the others; how well the readings bear each out is compared by the likelihood of two levels with one
spread (of a climb, of a line that begins there or a step, whichever the readings bear out), and what could
have been is paid for: a factor that changes every few pieces offers many beginnings, so one of them counts
for little. The result is odds: so many times likelier than nothing recorded.

The likelihood is that of the normal linear model with one term, its spread and level estimated; every
explanation has one term, so no penalty tells them apart. That a change which ends is half as likely to last
twice as long is the usual choice for a length of unknown scale (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import xlogy

from qc.stats import Floats, Integers

CLIP = 3.0
"""Readings further from the level of their stretch are drawn in to so many spreads: one wild piece accuses
nobody (house rule)."""

MOST, MOST_OF_NORMAL = 0.75, 1.1503
"""The spread of the readings is taken from how far this share of them lies from their level at most (shares,
0..1), and how far that is for normal ones [standard deviations]. The median would not do: of figures read in
coarse steps half lie on the level, and every other reading would be drawn in to it."""

ABSENT = 20
"""A level that was missing on so many pieces is new when it comes back: as many as say what was usual."""

LASTING = 0.5
"""Share of changes that last; of the others a twice as long one is half as likely (house rule)."""

STEPS = 8 / 9
"""Share of steps among what is told as a climb soon after it began: as the set of a start weighs the two."""

DRAWN_IN = 3
"""Times that is done: each time the level of the stretch lies nearer to that of the others."""

SHORT = 3
"""Over after so many pieces, a change is short: batches of such a length are found by chance in many places
(house rule)."""

KNOWN = 5
"""So many pieces must have been made before a level can be new (house rule)."""

ALL_ALONG = 0.25
"""For one level that goes wrong half way so many were off all along and only met more often (house rule)."""

MOSTLY = 0.6
"""Whose own pieces are off all along is named only where so much of the changed stretch is theirs (shares,
0..1; house rule)."""

How = Literal["new", "since", "throughout"]


@dataclass(frozen=True, slots=True)
class Weighable:
    """Pieces around a change, 0-based among themselves, and what is read on them.

    Attributes
    ----------
    values : float array, length n
        What the change is of: the figure, or how far it lies from its level where the spread changed.
    side : int
        1 above, -1 below, 0 either.
    first, last : int
        Where the change may begin: the set of its start.
    kind : str
        step, climb, or short: it was over after a few pieces, one at least.
    lines : float array, shape (n, k)
        What runs through the readings anyway, besides one level: a wear line of each tool.
    whole : int
        Pieces of the whole series.
    """

    values: Floats
    side: int
    first: int
    last: int
    kind: Literal["step", "climb", "short"]
    lines: Floats
    whole: int


@dataclass(frozen=True, slots=True)
class Prior:
    """How often a change comes with a factor, for one that comes with nothing recorded.

    Attributes
    ----------
    new : float
        With a level that begins there.
    half_way : float
        With one that goes wrong half way, on its own pieces alone: a person or a gauge may, a batch not.
    put_right : bool
        Whether a new level may be put right and go on in use: a tool may, a batch not.
    """

    new: float
    half_way: float = 0.0
    put_right: bool = True


class Scale:
    """Weighs what was recorded against a change that begins and ends anywhere.

    Parameters
    ----------
    stretch : Weighable
        Pieces around the change.
    """

    def __init__(self, stretch: Weighable) -> None:
        self.stretch = stretch
        n = stretch.values.size
        base = np.column_stack([np.ones(n), stretch.lines]) if stretch.lines.size else np.ones((n, 1))
        left, weight, _ = np.linalg.svd(base, full_matrices=False)
        self._base = left[:, weight > 1e-9 * weight.max()]
        self._climbs = stretch.kind == "climb"
        self._values = self._without(stretch.values)
        self._least = 1e-20 * float(stretch.values @ stretch.values)  # what rounding leaves of a constant
        # how likely a change ends after so many pieces; the last entry stands for one that lasts
        lasting = np.arange(1, n + 1, dtype=np.float64)
        self._ended = (1 - LASTING) / (lasting * (1 / np.arange(1, stretch.whole + 1)).sum())
        self._lasting = LASTING
        if (
            stretch.kind == "short"
        ):  # that it is short is known: no circumstance earns anything by being short
            self._ended = (lasting <= SHORT).astype(np.float64)
        self._freedom = max(n - self._base.shape[1] - 1, 1)
        kinds = np.unique(stretch.values)
        self._fails = stretch.values == kinds[-1] if kinds.size == 2 and base.shape[1] == 1 else None
        if self._fails is None:  # of what is only passed or failed no reading is wild
            for _ in range(DRAWN_IN):
                self._draw_in()
        self._starts = np.arange(max(stretch.first, 1), stretch.last + 1)
        # one scale for all, so that no likelihood overflows
        self._top = 0.0
        self._top = max(float(self._logs(np.ones(n)).max()), 0.0)
        self.nothing = float(self._summed(np.ones(n)).sum()) / stretch.whole

    @property
    def speaks(self) -> bool:
        """Whether the readings show the change at all."""
        return self.nothing > 0

    def likeliest(self, share: float) -> tuple[int, int]:
        """Return the first and the last of the fewest starts that hold a share of the likelihood of all."""
        each = self._summed(np.ones(self._values.size))
        order = np.argsort(-each, kind="stable")
        enough = int(np.searchsorted(np.cumsum(each[order]), share * each.sum())) + 1
        held = self._starts[order[:enough]]
        return int(held.min()), int(held.max())

    def level(
        self, own: Floats, onset: int | None, onsets: int, levels: int, prior: Prior
    ) -> tuple[How, int, float]:
        """Weigh one level of a factor.

        Parameters
        ----------
        own : float array, length n
            1 for the pieces of this level, else 0.
        onset : int or None
            Where the level is new inside the set of the start.
        onsets : int
            Beginnings of levels of this factor in the whole series.
        levels : int
            Levels of this factor among these pieces.
        prior : Prior
            What is known beforehand of such a factor.

        Returns
        -------
        str, int, float
            How it explains the change, its first piece, and the odds.
        """
        found: list[tuple[How, int, float]] = []
        if onset is not None:
            ahead = own * (np.arange(own.size) >= onset)
            short = self.stretch.kind == "short"
            lasting = 1.0 if short or not prior.put_right else LASTING
            whole = lasting * float(self._lasting_from(ahead, np.array([onset]))[0])
            until = 0.0
            if prior.put_right and not short:
                until = float(self._summed(ahead, np.array([onset]), ended_only=True)[0])
            # how often it begins elsewhere, as for a share that may be none: half a beginning more
            found.append(("new", onset, prior.new * (whole + until) / (max(onsets - 1, 0) + 0.5)))
        if prior.half_way:
            each = self._summed(own)
            at = int(self._starts[int(np.argmax(each))]) if each.size else 0
            first = int(np.argmax(own * (np.arange(own.size) >= at)))
            found.append(("since", first, prior.half_way * float(each.sum()) / self.stretch.whole / levels))
            if self._is_mostly(own):
                off = float(self._likelihood(own)[0]) if not self._climbs else 0.0
                found.append(("throughout", first, ALL_ALONG * prior.half_way * off / levels))
        if not found or not self.nothing:
            return "new", 0, 0.0
        how, at, _ = max(found, key=lambda f: f[2])
        return how, at, sum(f[2] for f in found) / self.nothing

    def best(self, own: Floats, onset: int) -> float:
        """Return how likely the readings are if the pieces of one level lie apart from a piece on, at best.

        Where they end is chosen by the readings. Only the ratio of two such figures says something.
        """
        ahead = own * (np.arange(own.size) >= onset)
        ends = np.arange(onset + 1, own.size + 1)
        ended = self._likely(self._log(self._shares(ahead, np.array([onset]), ends)))
        return max(float(ended.max(initial=0.0)), float(self._lasting_from(ahead, np.array([onset]))[0]))

    def step(self, at: Sequence[int], per_piece: float) -> float:
        """Return the odds of a change that begins where a figure stepped, at one of some places.

        Such steps of the figure come so often a piece.
        """
        places = np.array([i for i in at if 0 < i < self._values.size], dtype=np.int64)
        if not places.size or not self.nothing:
            return 0.0
        each = self._summed(np.ones(self._values.size), places)
        return float(each.sum()) / (len(at) * max(per_piece * self.stretch.whole, 1.0) * self.nothing)

    def _is_mostly(self, own: Floats) -> bool:
        """Say whether a level has most of the changed pieces, and had some of those before."""
        first, last = self.stretch.first, self.stretch.last
        return bool(own[last:].mean() >= MOSTLY and own[:first].any() and own[:first].mean() < MOSTLY)

    def _without(self, values: Floats) -> Floats:
        """Take the level, and the lines that run through anyway, off."""
        return np.asarray(values - self._base @ (self._base.T @ values), dtype=np.float64)

    def _draw_in(self) -> None:
        """Draw wild readings in towards the change as it is likeliest when nothing explains it."""
        n, starts = self._values.size, np.arange(max(self.stretch.first, 1), self.stretch.last + 1)
        ends = np.arange(1, n + 1)
        shares = self._shares(np.ones(n), starts, ends)
        shares[ends[None, :] <= starts[:, None]] = -1.0
        start, end = np.unravel_index(int(np.argmax(shares)), shares.shape)
        mask = ((ends > starts[start]) & (ends <= ends[end])).astype(np.float64)
        flat = self._without(mask)
        size = float(flat @ flat)
        fit = flat * float(flat @ self._values) / size if size > 1e-9 else np.zeros(n)
        rest = self._values - fit
        sd = float(np.quantile(np.abs(rest), MOST)) / MOST_OF_NORMAL or float(rest.std())
        self._values = self._without(fit + np.clip(rest, -CLIP * sd, CLIP * sd))

    def _climb(self, own: Floats, starts: Integers) -> Floats:
        """Return climbs of the pieces of a level, from each start on, one a row."""
        return np.asarray(own * np.maximum(np.arange(own.size) - starts[:, None] + 1, 0), dtype=np.float64)

    def _lasting_from(self, own: Floats, starts: Integers) -> Floats:
        """Return the likelihood of a change from each start on that lasts."""
        steps = self._likelihood(own * (np.arange(own.size) >= starts[:, None]))
        if not self._climbs:
            return steps
        return STEPS * steps + (1 - STEPS) * self._likelihood(self._climb(own, starts))

    def _share(self, mask: Floats) -> Floats:
        """Return the share of the variance that masks, one a row, explain; none where they point away."""
        own = np.atleast_2d(mask)
        flat = own - (own @ self._base) @ self._base.T
        with_values, size = flat @ self._values, (flat**2).sum(axis=1)
        return self._signed(with_values, size, own.sum(axis=1))

    def _signed(self, with_values: Floats, size: Floats, pieces: Floats) -> Floats:
        total = float(self._values @ self._values)
        if total <= self._least:
            return np.zeros_like(size)
        share = with_values**2 / np.maximum(size * total, 1e-300)
        if self._fails is not None:
            share = self._of_fails(with_values, pieces)
        wrong = (size < 1e-6) | (with_values * self.stretch.side < 0)
        return np.where(wrong, 0.0, np.minimum(share, 1 - 1e-12))

    def _of_fails(self, with_values: Floats, pieces: Floats) -> Floats:
        """Return the share that is as likely under normal readings as two shares of fails are.

        Of what only passes or fails the logarithm of the likelihood is that of two binomial shares against
        one [1]_, and a few fails in a row say far less than the same share of a variance would.

        References
        ----------
        .. [1] Agresti, Categorical Data Analysis, 3rd ed. (2013), section 3.2 (from memory).
        """
        fails = np.asarray(self._fails, dtype=np.float64)
        n, high = fails.size, float(self.stretch.values.max() - self.stretch.values.min())
        own = np.clip(with_values / high + pieces * fails.mean(), 0, pieces)

        def log(some: Floats, of: Floats) -> Floats:
            return np.asarray(xlogy(some, some) + xlogy(of - some, of - some) - xlogy(of, of))

        rest = np.clip(fails.sum() - own, 0, n - pieces)
        one = log(np.array([fails.sum()]), np.array([float(n)]))[0]
        gain = log(own, pieces) + log(rest, n - pieces) - one
        return np.asarray(-np.expm1(-2 * np.maximum(gain, 0.0) / self._freedom), dtype=np.float64)

    def _shares(self, own: Floats, starts: Integers, ends: Integers) -> Floats:
        """Return the shares explained by the pieces of a level from each start to each end."""

        def sums(values: Floats) -> Floats:
            run = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
            return np.asarray(run[ends][None, :, :] - run[starts][:, None, :], dtype=np.float64)

        parts = sums(np.column_stack([own * self._values, own, own[:, None] * self._base]))
        size = parts[..., 1] - (parts[..., 2:] ** 2).sum(axis=2)
        later = ends[None, :] > starts[:, None]
        return np.where(later, self._signed(parts[..., 0], size, parts[..., 1]), 0.0)

    def _logs(self, own: Floats) -> Floats:
        steps = self._log(self._shares(own, self._starts, np.arange(1, own.size + 1)))
        if not self._climbs:
            return steps
        climbs = self._log(self._share(self._climb(own, self._starts)))
        return np.concatenate([steps.ravel(), climbs])

    def _log(self, share: Floats) -> Floats:
        return np.asarray(-0.5 * self._freedom * np.log1p(-share), dtype=np.float64)

    def _likely(self, logs: Floats) -> Floats:
        """Return likelihoods on the scale common to all; what explains nothing has none."""
        return np.where(logs > 0, np.exp(logs - self._top), 0.0)

    def _likelihood(self, mask: Floats) -> Floats:
        return self._likely(self._log(self._share(mask)))

    def _summed(self, own: Floats, starts: Integers | None = None, *, ended_only: bool = False) -> Floats:
        """Return, for each start, the likelihood averaged over where the change may end."""
        starts = self._starts if starts is None else starts
        likely = self._likely(self._log(self._shares(own, starts, np.arange(1, own.size))))
        after = np.arange(own.size - 1)[None, :] - starts[:, None]  # pieces it goes on for, less one
        ended = (likely * np.where(after >= 0, self._ended[np.maximum(after, 0)], 0.0)).sum(axis=1)
        if self._climbs:
            ended *= STEPS  # a climb that is over is told as a step
        if ended_only:
            return np.asarray(ended, dtype=np.float64)
        # of a change known to be short its newest pieces may be all there was
        to_the_end = own.size - starts <= SHORT if self.stretch.kind == "short" else self._lasting
        return np.asarray(ended + to_the_end * self._lasting_from(own, starts), dtype=np.float64)


def onsets_of(levels: Sequence[str]) -> list[int]:
    """Return the places at which a level is new: it was missing on the pieces before.

    Examples
    --------
    >>> onsets_of(["a", "a", "b", "a", "c", "c"])
    []
    >>> onsets_of(["a"] * 6 + ["b", "a", "b"])
    [6]
    """
    seen: dict[str, int] = {}
    found = []
    for place, level in enumerate(levels):
        for each in split(level):
            if place >= KNOWN and (each not in seen or place - seen[each] > ABSENT):
                found.append(place)
            seen[each] = place
    return found


def split(level: str) -> list[str]:
    """Return the levels that a reading names, several joined by `` + ``.

    Examples
    --------
    >>> split("AB + CD"), split("")
    (['AB', 'CD'], [])
    """
    return [each for each in level.split(" + ") if each] if " + " in level else [level] if level else []


def filled(levels: Sequence[str]) -> list[str]:
    """Step over gaps: where nothing is recorded, what was recorded last still holds."""
    full, last = [], ""
    for level in levels:
        last = level or last
        full.append(last)
    return full


def is_new(levels: Sequence[str], level: str, at: int) -> bool:
    """Say whether a level begins at a place, missing on the pieces before."""
    return at >= KNOWN and level not in {
        each for past in levels[max(at - ABSENT, 0) : at] for each in split(past)
    }


def finite_log(odds: float) -> float:
    """Return the natural logarithm of odds, held within what can be kept."""
    return math.log(min(max(odds, 1e-12), 1e12))
