"""Who reads high: how far each person's readings of the same parts lie from those of all."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from qc.intervals import digits_words
from qc.stats.gauges.anova import Design
from qc.stats.numbers import Floats, Integers, Interval
from qc.stats.tabled import Tabled


@dataclass(frozen=True, slots=True)
class PersonReads(Tabled):
    """How a person reads.

    Attributes
    ----------
    person : str
        Who.
    offset : float
        Above (+) or below the mean of all persons, over the same parts. [unit of the readings]
    interval : (float, float)
        Of the offset; those of all persons hold together (Bonferroni). [same unit]
    clear : bool
        Whether it leaves 0 out.
    """

    person: str
    offset: float
    interval: Interval
    clear: bool


def persons_read(
    readings: Floats,
    parts: Integers,
    persons: Integers,
    names: tuple[str, ...],
    design: Design,
    confidence: float,
) -> tuple[PersonReads, ...]:
    """Give every person's offset; none where there is one person.

    Parameters
    ----------
    readings, parts, persons
        As for `uneven_design`.
    names : tuple of str
        Persons by number.
    design : Design
        Its interaction, where it has one, is what a person's offset is held against, else repeatability.
    confidence : float, 0..1
        Of the intervals, all together.

    References
    ----------
    .. [1] Least squares of parts and persons; intervals by Student's t (common practice, no source).

    Examples
    --------
    >>> from qc.stats.gauges.anova import crossed_design
    >>> cells = np.array([[[1.0, 1.1], [1.5, 1.6]], [[3.0, 3.1], [3.6, 3.5]], [[2.0, 2.2], [2.5, 2.6]]])
    >>> part, person = np.repeat([0, 1, 2], 4), np.tile([0, 0, 1, 1], 3)
    >>> found = persons_read(cells.ravel(), part, person, ("a", "b"), crossed_design(cells), 0.95)
    >>> [(one.person, round(one.offset, 3), one.clear) for one in found]
    [('a', -0.242, True), ('b', 0.242, True)]
    """
    count = len(names)
    if count < 2:
        return ()
    columns = np.hstack([np.eye(int(parts.max()) + 1)[parts], np.eye(count)[persons]])
    inverse = np.linalg.pinv(columns.T @ columns)
    # each person less the mean of all persons
    contrast = np.zeros((count, columns.shape[1]))
    contrast[:, -count:] = np.eye(count) - 1.0 / count
    offsets = contrast @ inverse @ columns.T @ (readings - readings.mean())
    spread = np.einsum("ij,jk,ik->i", contrast, inverse, contrast)
    sources = {row.source: row for row in design.rows}
    error = sources.get("person_part", sources["repeatability"])
    reach = float(special.stdtrit(error.df, 1.0 - (1.0 - confidence) / (2.0 * count)))
    out = []
    for name, offset, variance in zip(names, offsets.tolist(), spread.tolist(), strict=True):
        half = reach * math.sqrt(max(variance * error.ms, 0.0))
        out.append(PersonReads(name, offset, (offset - half, offset + half), abs(offset) > half))
    return tuple(out)


ADVICE = {
    "repeatability": "the same person reads the same part differently: look at how gauge and part are held, "
    "at the place that is measured and at the gauge's step, or read it several times and take the mean",
    "person": "persons read at different levels: agree on one way of measuring and try it on a reference; "
    "the mean of several readings by one person does not help",
    "person_part": "persons differ from part to part: agree where on the part and how hard the gauge is set",
}
"""What helps, by the part of the gauge's variance that is largest."""


def advice_for(components: dict[str, float], reads: tuple[PersonReads, ...]) -> str:
    """Say which part of the gauge's variance is largest, what helps there, and who reads high or low."""
    gauge = components["gauge"]
    if not gauge > 0.0:
        return ""
    largest = max(ADVICE, key=lambda name: components.get(name, 0.0))
    share = 100.0 * components[largest] / gauge
    said = f"{share:.0f} % of the gauge's variance is that {ADVICE[largest]}."
    told = [
        f"{one.person} reads {abs(one.offset):.3g} {'high' if one.offset > 0 else 'low'} "
        f"({digits_words(one.interval[0], 3, signed=True)} to "
        f"{digits_words(one.interval[1], 3, signed=True)})"
        for one in sorted(reads, key=lambda one: -abs(one.offset))
        if one.clear
    ]
    return f"{said} Against the mean of all persons {'; '.join(told)}." if told else said
