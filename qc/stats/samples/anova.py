"""Tables of variance: one line, and the one-way table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, as_readings
from qc.stats.tabled import Tabled


@dataclass(frozen=True, slots=True)
class AnovaRow(Tabled):
    """One line of a table of variance.

    Attributes
    ----------
    source : str
        Where the variation comes from.
    df : int
        Degrees of freedom.
    ss, ms : float
        Sum of squares and mean square. [square of the unit]
    f, p_value : float or None
        F ratio against the line it is tested with, and its p-value; None for the last lines.
    """

    source: str
    df: int
    ss: float
    ms: float
    f: float | None = None
    p_value: float | None = None


@dataclass(frozen=True, slots=True)
class OneWay(Tabled):
    """One-way table of variance with its between-group component.

    Attributes
    ----------
    rows : tuple of AnovaRow
        between, within, total.
    between_variance : float
        Component between groups; negative if the groups agree better than chance. [square of the unit]
    within_sd : float
        Spread within groups. [unit]
    r_squared : float
        Share of the sum of squares between groups, 0..1.
    """

    ROWS = "rows"

    rows: tuple[AnovaRow, ...]
    between_variance: float
    within_sd: float
    r_squared: float


def one_way_anova(groups: Sequence[ArrayLike]) -> OneWay:
    """One-way analysis of variance, equal or unequal groups: the table and the between-group component.

    Parameters
    ----------
    groups : sequence of array_like, two or more
        Readings by group; at least one group of two or more. [any unit]

    Raises
    ------
    StatisticsError
        Fewer than two groups, an empty one, or nothing repeated.

    References
    ----------
    .. [1] NIST StRD, analysis of variance sets (SiRstv); NIST/SEMATECH e-Handbook 1.3.5.4.

    Examples
    --------
    >>> found = one_way_anova([[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]])
    >>> round(found.rows[0].f, 3), round(found.between_variance, 4)
    (1.5, 0.1667)
    """
    if len(groups) < 2:
        raise StatisticsError(f"analysis of variance: {len(groups)} groups given, at least 2 are needed")
    parts = [as_readings(g, f"analysis of variance, group {i + 1}", least=1) for i, g in enumerate(groups)]
    sizes = np.array([part.size for part in parts], dtype=np.float64)
    total = int(sizes.sum())
    if total == len(parts):
        raise StatisticsError("analysis of variance: no group holds two readings; repeats are needed")
    # from the first reading, so that a large common offset costs no digits
    origin = float(parts[0][0])
    parts = [part - origin for part in parts]
    means = np.array([float(part.mean()) for part in parts])
    ss_within = float(sum(np.sum((part - mean) ** 2) for part, mean in zip(parts, means, strict=True)))
    return one_way_table(sizes, means, ss_within)


def one_way_table(sizes: Floats, means: Floats, ss_within: float) -> OneWay:
    """Finish a one-way table from the groups' sizes and means and the sum of squares within them."""
    total, df_between = int(sizes.sum()), sizes.size - 1
    df_within = total - sizes.size
    grand = float(sizes @ means) / total
    ss_between = float(sizes @ (means - grand) ** 2)
    between = anova_row("between", df_between, ss_between, ss_within / df_within, df_within)
    within = AnovaRow("within", df_within, ss_within, ss_within / df_within)
    size = (total - float(sizes @ sizes) / total) / df_between
    both = ss_between + ss_within
    return OneWay(
        (between, within, AnovaRow("total", total - 1, both, both / (total - 1))),
        (between.ms - within.ms) / size,
        float(np.sqrt(within.ms)),
        ss_between / both if both > 0 else 0.0,
    )


def anova_row(source: str, df: int, ss: float, error_ms: float, error_df: int) -> AnovaRow:
    """Line of a table tested against an error mean square.

    Parameters
    ----------
    source : str
        Name of the line.
    df : int, >= 1
        Its degrees of freedom.
    ss : float
        Its sum of squares. [square of the unit]
    error_ms : float
        Mean square it is tested against; when 0 there is no test. [square of the unit]
    error_df : int, >= 1
        Degrees of freedom of that.

    Examples
    --------
    >>> anova_row("part", 2, 8.0, 1.0, 10).f
    4.0
    """
    ms = ss / df
    if error_ms <= 0.0:
        return AnovaRow(source, df, ss, ms)
    f = ms / error_ms
    return AnovaRow(source, df, ss, ms, f, float(special.fdtrc(df, error_df, f)))
