"""Rework by cause: hours count, not cases."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

import polars as pl

from qc.plain import JsonObject

NO_CAUSE = "no cause given"

LAST_DIGITS = 10
"""Significant digits of a sum of hours: quarters and tenths add up, whatever binary makes of them."""


@dataclass(frozen=True, slots=True)
class ReworkCause:
    """The rework of one cause.

    Attributes
    ----------
    cause : str
        Its code in the plan, empty where the card gave none.
    hours : float
        Hours together. [h]
    pieces : int
        Pieces that were reworked.
    share, cumulative : float
        Of the hours of all causes, by itself and with the causes before it, 0..1.
    """

    cause: str
    hours: float
    pieces: int
    share: float
    cumulative: float

    @property
    def name(self) -> str:
        """The cause in words."""
        return self.cause.replace("-", " ") or NO_CAUSE

    def to_dict(self) -> JsonObject:
        """Return one row of the contract of ``qc rework --json``."""
        return {"cause": self.cause, "hours": self.hours, "pieces": self.pieces, "share": self.share}


def rework_causes(events: pl.DataFrame) -> tuple[ReworkCause, ...]:
    """Return rework by cause, most hours first.

    Parameters
    ----------
    events : polars.DataFrame
        Rows of the tidy table; kinds other than rework take no part.

    Returns
    -------
    tuple of ReworkCause
        Empty where nothing was reworked.
    """
    rows = (
        events.filter(pl.col("kind") == "rework")
        .group_by(pl.col("code").fill_null(""))
        .agg(pl.col("value").sum().alias("hours"), pl.col("serial").n_unique().alias("pieces"))
    )
    found = [(summed([hours or 0.0]), code, pieces) for code, hours, pieces in rows.iter_rows()]
    found.sort(key=lambda one: (-one[0], one[1]))
    total = summed([hours for hours, _, _ in found]) or 1.0  # of no hours at all each has no share
    so_far = accumulate(hours for hours, _, _ in found)
    return tuple(
        ReworkCause(code, hours, pieces, hours / total, min(1.0, together / total))
        for (hours, code, pieces), together in zip(found, so_far, strict=True)
    )


def summed(figures: Sequence[float]) -> float:
    """Add figures up as they were written, without what binary leaves in the last digits.

    Examples
    --------
    >>> summed([0.1, 0.2])
    0.3
    """
    return float(f"{sum(figures):.{LAST_DIGITS}g}")
