"""What the checks of a series hand back: one finding a check, and what looking at several of them means."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from qc.plain import JsonObject
from qc.stats.numbers import Floats, Integers
from qc.stats.samples import NORMAL_95
from qc.stats.studies.p_values import corrected_p_values
from qc.stats.tabled import Tabled, frame_of

if TYPE_CHECKING:
    import polars as pl

ALPHA = 0.05  # a check calls something clear that chance alone would show once in twenty times

FIGURES: dict[str, tuple[str, ...]] = {
    "anderson_darling": (),
    "grubbs": ("point", "value", "critical", "above", "below"),
    "generalised_esd": ("most", "outliers", "steps"),
    "runs": (),
    "lag_1": (
        "interval",
        "bound",
        "moving_range_inflation",
        "false_alarm_rate",
        "false_alarm_rate_asked",
        "limits",
        "limits_allowing",
    ),
    "mean_change": ("start", "start_set", "start_confidence", "mean_before", "mean_after", "size", "sd"),
    "mean_change_from_target": (
        "target",
        "start",
        "start_set",
        "start_confidence",
        "mean_after",
        "size",
        "sd",
        "sd_given",
    ),
    "anova": ("by", "groups", "table", "within_sd", "between_variance"),
    "bartlett": ("by", "groups"),
    "levene": ("by", "groups", "rough"),
    "brown_forsythe": ("by", "groups"),
    "gauge_resolution": (
        "step",
        "step_given",
        "steps_inside",
        "fine_enough",
        "share_of_sigma",
        "sigma_floor",
    ),
}
"""Names of the checks in the order in which they are told, and the figures of each beside its statistic."""

ASKS = {
    "anderson_darling": "do readings scatter as normal ones do?",
    "grubbs": "does the most extreme reading belong to the rest?",
    "generalised_esd": "do several readings not belong to the rest?",
    "runs": "do points fall on both sides of the middle in random order?",
    "lag_1": "does each point resemble the one before?",
    "mean_change": "did the level change once?",
    "mean_change_from_target": "did the level leave the target?",
    "anova": "do the groups lie at one level?",
    "bartlett": "do the groups scatter alike, if they are normal?",
    "levene": "do the groups scatter alike, about their means?",
    "brown_forsythe": "do the groups scatter alike, about their medians?",
    "gauge_resolution": "is the gauge fine enough for this spread?",
}

_COLUMNS = ("check", "n", "statistic", "p_value", "p_corrected", "clear", "verdict", "reason", "asks")


@dataclass(frozen=True, slots=True)
class Readings:
    """What a check judges: `values` in order of making, with the number of each in its series."""

    values: Floats
    numbers: Integers
    judged: str

    @property
    def n(self) -> int:
        """How many of them."""
        return int(self.values.size)


@dataclass(frozen=True, slots=True)
class Check(Tabled):
    """One check of one series.

    Attributes
    ----------
    name : str
        One of `FIGURES`.
    judged : str
        What was judged: the readings, the means of the subgroups, ...
    n : int
        How many of those.
    statistic, p_value : float or None
        Statistic [1], and the chance of one at least as extreme if nothing were wrong; None where the check
        has none or could not be made.
    clear : bool or None
        Whether it found what it looks for, at 5 % on its own; None where it could not be made.
    verdict : str or None
        The finding in a sentence.
    figures : mapping
        What only this check has, by the names in `FIGURES`.
    reason : str or None
        Why it could not be made, and what is needed.
    p_corrected : float or None
        `p_value` corrected for all checks of the series made together.
    """

    name: str
    judged: str
    n: int
    statistic: float | None = None
    p_value: float | None = None
    clear: bool | None = None
    verdict: str | None = None
    figures: Mapping[str, object] = field(default_factory=dict)
    reason: str | None = None
    p_corrected: float | None = None

    @property
    def asks(self) -> str:
        """What it asks, in plain words."""
        return ASKS[self.name]

    @property
    def sound(self) -> bool:
        """Whether there is a p-value that keeps what it says."""
        return self.p_value is not None and not self.figures.get("rough", False)

    def to_dict(self) -> JsonObject:
        """Return plain values; figures of a check that could not be made are None."""
        return {
            "asks": self.asks,
            "judged": self.judged,
            "n": self.n,
            "statistic": self.statistic,
            "p_value": self.p_value,
            "p_corrected": self.p_corrected,
            "clear": self.clear,
            "verdict": self.verdict,
            "reason": self.reason,
            **{name: self.figures.get(name) for name in FIGURES[self.name]},
        }


@dataclass(frozen=True, slots=True)
class SeriesChecks(Tabled):
    """All checks of one series, in the order of `FIGURES`.

    Attributes
    ----------
    checks : tuple of Check
        Made or not made.
    notes : tuple of str
        What one check says about the worth of another.
    """

    checks: tuple[Check, ...]
    notes: tuple[str, ...] = ()

    def __getitem__(self, name: str) -> Check:
        """Return the check of a name."""
        return next(check for check in self.checks if check.name == name)

    @property
    def tested(self) -> tuple[Check, ...]:
        """Checks that were made and have a p-value to rely on."""
        return tuple(check for check in self.checks if check.sound)

    @property
    def clear(self) -> tuple[str, ...]:
        """Names of the checks with a p-value that found something, each on its own."""
        return tuple(check.name for check in self.tested if check.clear)

    @property
    def clear_together(self) -> tuple[str, ...]:
        """Names of those that stay clear when all are looked at together."""
        return tuple(
            check.name for check in self.tested if check.p_corrected is not None and check.p_corrected < ALPHA
        )

    @property
    def by_chance(self) -> float:
        """Chance that at least one finds something in a settled series, were they independent."""
        return float(1.0 - (1.0 - ALPHA) ** len(self.tested))

    @property
    def sentence(self) -> str:
        """What making several checks means."""
        count = len(self.tested)
        if count == 0:
            return "No check with a p-value could be made."
        if count == 1:
            found = "is" if self.clear else "is not"
            return f"One check with a p-value was made and {found} clear: chance makes it so once in twenty."
        return (
            f"Of {count} checks with a p-value {_listed(self.clear)} clear on their own, and "
            f"{_listed(self.clear_together)} when all are allowed for (Holm). Each finds something by chance "
            f"once in twenty, so at least one of {count} does in up to {100 * self.by_chance:.0f} of 100 "
            "settled series."
        )

    def to_dict(self) -> JsonObject:
        """Return plain values: a check by its name, and `several` about all of them."""
        return {
            **{check.name: check.to_dict() for check in self.checks},
            "several": {
                "alpha": ALPHA,
                "tests": len(self.tested),
                "by_chance": self.by_chance,
                "clear": list(self.clear),
                "clear_together": list(self.clear_together),
                "sentence": self.sentence,
            },
            "notes": list(self.notes),
        }

    def to_frame(self) -> pl.DataFrame:
        """Return one row per check: statistic, p-values, whether it is clear, the answer, what it asks."""
        plain = [{"check": check.name} | check.to_dict() for check in self.checks]
        return frame_of({name: row[name] for name in _COLUMNS} for row in plain)


@dataclass(frozen=True, slots=True)
class ChecksTogether(Tabled):
    """The checks of many series side by side: how often each is clear, against how often chance makes it so.

    Attributes
    ----------
    series : int
        Series checked.
    made, clear : mapping of check name to int
        Series in which it could be made, and in which it found something.
    by_chance : mapping of check name to float
        Series in which chance alone would: a twentieth of those made. Only checks with a p-value.
    lag_1, lag_1_bound : float or None
        Lag-1 autocorrelation over all series together, corrected for their estimated means, and what it
        stays within 95 times in 100 by chance; None where no series has one.
    """

    series: int
    made: Mapping[str, int]
    clear: Mapping[str, int]
    by_chance: Mapping[str, float]
    lag_1: float | None
    lag_1_bound: float | None

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        lag = None
        if self.lag_1 is not None and self.lag_1_bound is not None:
            clear = abs(self.lag_1) > self.lag_1_bound
            lag = {"lag_1": self.lag_1, "bound": self.lag_1_bound, "clear": clear}
        return {
            "series": self.series,
            "made": dict(self.made),
            "clear": dict(self.clear),
            "by_chance": dict(self.by_chance),
            "pooled_lag_1": lag,
        }


def checks_together(checks: Mapping[str, SeriesChecks]) -> ChecksTogether:
    """Count over many series what their checks found, and pool their lag-1 autocorrelation.

    Parameters
    ----------
    checks : mapping of series name to SeriesChecks

    Returns
    -------
    ChecksTogether
        The pooled coefficient is that of `pooled_autocorrelation`.

    References
    ----------
    .. [1] As for `pooled_autocorrelation`: twenty points of one series cannot show what a hundred series can.

    Examples
    --------
    >>> found = checks_together({})
    >>> found.series, found.lag_1
    (0, None)
    """
    made: dict[str, int] = {}
    clear: dict[str, int] = {}
    by_chance: dict[str, float] = {}
    for name in FIGURES:
        of_name = [one[name] for one in checks.values()]
        made[name] = sum(check.clear is not None for check in of_name)
        clear[name] = sum(check.clear is True for check in of_name)
        tested = sum(check.sound for check in of_name)
        if tested:
            by_chance[name] = ALPHA * tested
    lags = [one["lag_1"] for one in checks.values() if one["lag_1"].statistic is not None]
    points = sum(check.n for check in lags)
    if not points:
        return ChecksTogether(len(checks), made, clear, by_chance, None, None)
    shared = sum(check.n * (check.statistic or 0.0) for check in lags)
    bound = NORMAL_95 / math.sqrt(points)
    # one added for each series, whose coefficient lies about 1 / n too low (`pooled_autocorrelation`)
    return ChecksTogether(len(checks), made, clear, by_chance, (shared + len(lags)) / points, bound)


def corrected(checks: tuple[Check, ...]) -> tuple[Check, ...]:
    """Fill in the p-values that allow for all checks of a series made together.

    Parameters
    ----------
    checks : tuple of Check
        Of one series.

    Returns
    -------
    tuple of Check

    Examples
    --------
    >>> two = (Check("runs", "", "", 9, p_value=0.04), Check("bartlett", "", "", 9, p_value=0.03))
    >>> [check.p_corrected for check in corrected(two)]
    [0.06, 0.06]
    """
    known = [check.p_value for check in checks if check.sound and check.p_value is not None]
    left = iter(corrected_p_values(known))
    return tuple(replace(check, p_corrected=next(left)) if check.sound else check for check in checks)


def _listed(names: tuple[str, ...]) -> str:
    """Say how many, and which."""
    if not names:
        return "none is"
    words = ", ".join(name.replace("_", "-") for name in names)
    return f"{len(names)} ({words}) {'is' if len(names) == 1 else 'are'}"
