"""Analysis of variance behind gauge studies: the mean squares of each design and what they estimate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats
from qc.stats.samples import AnovaRow, anova_row, one_way_anova

COMPONENTS = ("repeatability", "person", "person_part", "part", "gauge", "total")


@dataclass(frozen=True, slots=True)
class Design:
    """Mean squares of a design and the variance components as weighted sums of them.

    Attributes
    ----------
    rows : tuple of AnovaRow
        The table, total last.
    weights : dict of component to dict of source to float
        What each component is of the mean squares.
    """

    rows: tuple[AnovaRow, ...]
    weights: Mapping[str, Mapping[str, float]] = field(default_factory=dict)

    def row(self, source: str) -> AnovaRow:
        """Return the line of a source."""
        return next(row for row in self.rows if row.source == source)

    def raw(self, component: str) -> float:
        """Return a component as the mean squares have it; may be negative."""
        return sum(weight * self.row(source).ms for source, weight in self.weights[component].items())


def crossed_design(readings: Floats, *, pooled: bool = False) -> Design:
    """Every person measures every part, with repeats: the table and the weights of the components.

    Parameters
    ----------
    readings : ndarray, shape (parts, persons, repeats), each >= 2
        Readings; one repeat will do when pooled, and cannot be told apart otherwise. [any unit]
    pooled : bool
        Count the interaction of person and part as repeatability.

    Raises
    ------
    StatisticsError
        Not three-dimensional, or fewer than two of something.

    References
    ----------
    .. [1] Montgomery, "Design and Analysis of Experiments", two-factor random model; Burdick, Borror and
       Montgomery, Journal of Quality Technology 35, 2003.

    Examples
    --------
    >>> design = crossed_design(np.array([[[1.0, 2.0], [2.0, 2.0]], [[5.0, 6.0], [6.0, 7.0]]]))
    >>> [(row.source, round(row.ss, 3)) for row in design.rows[:2]]
    [('part', 36.125), ('person', 1.125)]
    """
    p, o, r = _shape(readings, (2, 2, 1 if pooled else 2))
    y = readings - readings.mean()
    part, person, cell = y.mean(axis=(1, 2)), y.mean(axis=(0, 2)), y.mean(axis=2)
    ss_part, ss_person = o * r * float(part @ part), p * r * float(person @ person)
    both = cell - part[:, None] - person[None, :]
    ss_both, ss_error = r * float(np.sum(both * both)), float(np.sum((y - cell[:, :, None]) ** 2))
    total = AnovaRow("total", p * o * r - 1, float(np.sum(y * y)), float(np.sum(y * y)) / (p * o * r - 1))
    df_both, df_error = (p - 1) * (o - 1), p * o * (r - 1)
    weights = {"repeatability": {"repeatability": 1.0}}
    error: tuple[AnovaRow, ...]
    if pooled:
        df, ss, beside = df_both + df_error, ss_both + ss_error, "repeatability"
        error = (AnovaRow(beside, df, ss, ss / df),)
    else:
        df, ss, beside, ms_error = df_both, ss_both, "person_part", ss_error / df_error
        error = (
            anova_row(beside, df_both, ss_both, ms_error, df_error),
            AnovaRow("repeatability", df_error, ss_error, ms_error),
        )
        weights[beside] = {beside: 1 / r, "repeatability": -1 / r}
    weights["person"] = {"person": 1 / (p * r), beside: -1 / (p * r)}
    weights["part"] = {"part": 1 / (o * r), beside: -1 / (o * r)}
    rows = (
        anova_row("part", p - 1, ss_part, ss / df, df),
        anova_row("person", o - 1, ss_person, ss / df, df),
        *error,
        total,
    )
    return with_sums(rows, weights)


def nested_design(readings: Floats) -> Design:
    """Every person measures parts of their own (destroyed by measuring, or out of reach for the others).

    Parameters
    ----------
    readings : ndarray, shape (persons, parts of each, repeats), each >= 2
        Readings; fewer are refused. [any unit]

    References
    ----------
    .. [1] Montgomery, "Design and Analysis of Experiments", two-stage nested random model.

    Examples
    --------
    >>> design = nested_design(np.array([[[1.0, 2.0], [4.0, 4.0]], [[5.0, 6.0], [9.0, 8.0]]]))
    >>> round(design.raw("part"), 3), round(design.raw("person"), 3)
    (3.625, 7.125)
    """
    o, p, r = _shape(readings, (2, 2, 2))
    y = readings - readings.mean()
    person, cell = y.mean(axis=(1, 2)), y.mean(axis=2)
    ss_person = p * r * float(person @ person)
    ss_part = r * float(np.sum((cell - person[:, None]) ** 2))
    ss_error = float(np.sum((y - cell[:, :, None]) ** 2))
    df_part, df_error = o * (p - 1), o * p * (r - 1)
    rows = (
        anova_row("person", o - 1, ss_person, ss_part / df_part, df_part),
        anova_row("part", df_part, ss_part, ss_error / df_error, df_error),
        AnovaRow("repeatability", df_error, ss_error, ss_error / df_error),
        AnovaRow("total", o * p * r - 1, float(np.sum(y * y)), float(np.sum(y * y)) / (o * p * r - 1)),
    )
    weights = {
        "repeatability": {"repeatability": 1.0},
        "person": {"person": 1 / (p * r), "part": -1 / (p * r)},
        "part": {"part": 1 / r, "repeatability": -1 / r},
    }
    return with_sums(rows, weights)


def one_person_design(readings: Floats) -> Design:
    """One person measures every part several times: the one-way random model of `one_way_anova`.

    Parameters
    ----------
    readings : ndarray, shape (parts, repeats), each >= 2
        Readings; fewer are refused. [any unit]

    Examples
    --------
    >>> one_person_design(np.array([[1.0, 2.0], [4.0, 4.0]])).raw("repeatability")
    0.25
    """
    p, r = _shape(readings, (2, 2))
    table = one_way_anova(list(readings))
    between, within, total = table.rows
    rows = (replace(between, source="part"), replace(within, source="repeatability"), total)
    weights = {"repeatability": {"repeatability": 1.0}, "part": {"part": 1 / r, "repeatability": -1 / r}}
    return with_sums(rows, weights)


def with_sums(rows: tuple[AnovaRow, ...], weights: dict[str, dict[str, float]]) -> Design:
    """Add the gauge and the total as sums of the components there are."""
    gauge: dict[str, float] = {}
    total: dict[str, float] = {}
    for component, parts in weights.items():
        for source, weight in parts.items():
            total[source] = total.get(source, 0.0) + weight
            if component != "part":
                gauge[source] = gauge.get(source, 0.0) + weight
    return Design(rows, weights | {"gauge": gauge, "total": total})


def _shape(readings: Floats, least: tuple[int, ...]) -> tuple[int, ...]:
    """Sizes of the layout, or what is missing in it."""
    if readings.ndim != len(least) or any(
        have < need for have, need in zip(readings.shape, least, strict=True)
    ):
        raise StatisticsError(
            f"gauge study: the layout is {' x '.join(map(str, readings.shape))}; at least "
            f"{' x '.join(map(str, least))} is needed"
        )
    return readings.shape
