"""What a stranger's `truth.json` says, in the few words that scoring needs, and which series it speaks of.

The strangers name the same things a little differently; what is read here is said in their docstrings. Places
in a series count from 1, in the order in which the workshop charts it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

from scipy import stats

from qc.plan import Plan
from qc.watch import SeriesKey

Json = dict[str, Any]
NORMAL = NormalDist()
FURTHEST = 12.0
"""A share outside so small that its quantile lies beyond is told as this. [sd]"""


@dataclass(frozen=True, slots=True)
class TrueChange:
    """A change that was put into a series, found among its pieces.

    Attributes
    ----------
    kind : {"shift", "trend", "spread", "single"}
        What was done.
    first, last : int
        Places of the first and the last piece touched.
    share : float
        Share of the pieces from `first` to `last` that were touched: a person's, a gauge's, all.
    size_sd : float
        In spreads; a trend's for each piece, a spread's ratio.
    cause : mapping
        `kind`, `value`, `recorded`.
    """

    kind: str
    first: int
    last: int
    share: float
    size_sd: float
    cause: Mapping[str, Any]

    def size(self, sd: float) -> float | None:
        """Return what the sized change is in the unit of the series, None where that is not one figure."""
        if self.kind == "trend":
            return None
        return (self.size_sd - 1) * sd if self.kind == "spread" else self.size_sd * sd


def key_of(truth: Json, plan: Plan) -> str | None:
    """Return the name under which the workshop charts a true series, None where it charts none such."""
    at = [(s, c, f) for s, c, f in plan.charted() if (s.id, c.id) == _named(truth)]
    families = {family for _, _, family in at}
    if len(families) == 1:
        return str(SeriesKey(*_named(truth), families.pop()))
    told = [truth.get("group"), truth.get("lane"), str(truth.get("series", "")).rpartition("/")[2]]
    if truth["model"] is not None and at:
        told.append(plan.family_of(at[0][1], truth["model"]))
    for family in told:
        if family in families:
            return str(SeriesKey(*_named(truth), family))
    return None


def changes_of(truth: Json, serials: Sequence[str]) -> tuple[list[TrueChange], int]:
    """Find the changes of a true series among the pieces charted.

    Parameters
    ----------
    truth : dict
        One of the `series` of `truth.json`.
    serials : sequence of str
        The pieces charted, in order.

    Returns
    -------
    list of TrueChange
        In the order in which they begin.
    int
        Changes of which no piece is charted: their rows are held, or their cards were never handed in.
    """
    place = {serial: number for number, serial in enumerate(serials, 1)}
    found, lost = [], 0
    for change in truth["changes"]:
        touched = [place[serial] for serial in change.get("touched", ()) if serial in place]
        if not touched:
            touched = _between(change, place, len(serials))
        if not touched:
            lost += 1
            continue
        first, last = min(touched), max(touched)
        count = min(change.get("pieces", len(touched)), len(touched))
        found.append(
            TrueChange(
                change["kind"],
                first,
                last,
                round(count / (last - first + 1), 3),
                float(change["size_sd"]),
                change["cause"],
            )
        )
    return sorted(found, key=lambda one: one.first), lost


def worse_side_ppk(truth: Json) -> float | None:
    """Return the true Ppk by the worse side alone, None without limits.

    The strangers turn the whole share outside into a quantile; an index that looks at each limit apart knows
    the larger of the two shares only. Where the truth does not give that, the whole share is parted as the
    two tails of a normal figure, or of Student's t with the same spread, are.
    """
    if truth["true_ppk"] is None or truth.get("true_ppk_worse_side") is not None:
        return truth.get("true_ppk_worse_side")
    lower, upper = truth["lower"], truth["upper"]
    if lower is None or upper is None:
        return float(truth["true_ppk"])
    scale = math.sqrt(3 / 5) if truth["tails"] else 1.0
    tail = stats.t(5).sf if truth["tails"] else stats.norm.sf
    sides = [float(tail(abs(edge - truth["mean"]) / truth["sd"] / scale)) for edge in (lower, upper)]
    if not lower < truth["mean"] < upper or sum(sides) == 0:
        return float(truth["true_ppk"])
    share = NORMAL.cdf(-3 * truth["true_ppk"]) * max(sides) / sum(sides)
    return FURTHEST / 3 if share <= NORMAL.cdf(-FURTHEST) else round(-NORMAL.inv_cdf(share) / 3, 4)


def corrected_serials(truth: Json) -> set[str]:
    """Return the pieces of which a card came again with another figure: those rows are to be held."""
    return {str(one["serial"]) for name in ("corrected", "corrections") for one in truth.get(name, ())}


def _named(truth: Json) -> tuple[str, str]:
    return truth["stage"], truth["characteristic"]


def _between(change: Json, place: Mapping[str, int], pieces: int) -> list[int]:
    first = place.get(change["first_serial"])
    last = pieces if change["last_serial"] is None else place.get(change["last_serial"])
    return [] if first is None or last is None or last < first else list(range(first, last + 1))
