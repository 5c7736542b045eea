"""Gauge studies with holes: the table of variance of a layout that is not full, crossed or nested.

Henderson's third method: sums of squares of the general linear model, set equal to what they are expected
to be. In a crossed layout each factor is fitted after the others, in a nested one the parts within their
persons. In a full layout that is the usual table.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from qc.stats.errors import StatisticsError
from qc.stats.gauges.anova import Design, with_sums
from qc.stats.numbers import Floats, Integers
from qc.stats.samples import AnovaRow, anova_row


def uneven_design(readings: Floats, parts: Integers, persons: Integers, *, pooled: bool = False) -> Design:
    """Table of variance and weights of the components where cells are missing or repeats uneven.

    Parameters
    ----------
    readings : ndarray, length n
        Readings. [any unit]
    parts, persons : ndarray of int, length n
        Part and person of each, from 0; all persons 0 for a study by one person.
    pooled : bool
        Count the interaction of person and part as repeatability.

    Returns
    -------
    Design
        As `crossed_design`, or as `one_person_design` where there is one person.

    Raises
    ------
    StatisticsError
        Parts and persons so scattered that they cannot be told apart, or nothing left to see spread by.

    References
    ----------
    .. [1] Henderson, "Estimation of variance and covariance components", Biometrics 9, 1953: method 3 (from
       memory; equal to `crossed_design` on full layouts, and simulated, in the tests).

    Examples
    --------
    >>> values = np.array([1.0, 2.0, 2.0, 2.0, 5.0, 6.0, 6.0])
    >>> part, person = np.array([0, 0, 0, 0, 1, 1, 1]), np.array([0, 0, 1, 1, 0, 0, 1])
    >>> [(row.source, row.df) for row in uneven_design(values, part, person).rows]
    [('part', 1), ('person', 1), ('person_part', 1), ('repeatability', 3), ('total', 6)]
    """
    y = readings - readings.mean()
    spread = {"part": _columns(parts)}
    if persons.max() > 0:
        spread["person"] = _columns(persons)
        if not pooled:
            spread["person_part"] = _columns(parts * (int(persons.max()) + 1) + persons)
    forms = _forms(spread, y.size)
    beside = "person_part" if "person_part" in forms else "repeatability"
    tested = {name: beside for name in forms if name not in ("person_part", "repeatability")}
    return _solved(y, spread, forms, tested | {"person_part": "repeatability"})


def uneven_nested_design(readings: Floats, parts: Integers, persons: Integers) -> Design:
    """Table of variance and weights of the components of parts within persons, of uneven numbers.

    Parameters
    ----------
    readings : ndarray, length n
        Readings. [any unit]
    parts, persons : ndarray of int, length n
        Part (a number of its own for each part of each person) and person of each, from 0.

    Returns
    -------
    Design
        As `nested_design`.

    Raises
    ------
    StatisticsError
        Nothing left to see a source of spread by: no person with two parts, or no part read twice.

    References
    ----------
    .. [1] Searle, Casella and McCulloch, "Variance Components", 1992, nested classification with unequal
       numbers (from memory; equal to `nested_design` on full layouts, and simulated, in the tests).

    Examples
    --------
    >>> values = np.array([1.0, 2.0, 4.0, 4.0, 5.0, 6.0, 9.0])
    >>> part, person = np.array([0, 0, 1, 1, 2, 2, 3]), np.array([0, 0, 0, 0, 1, 1, 1])
    >>> [(row.source, row.df) for row in uneven_nested_design(values, part, person).rows]
    [('person', 1), ('part', 2), ('repeatability', 3), ('total', 6)]
    """
    y = readings - readings.mean()
    spread = {"person": _columns(persons), "part": _columns(parts)}
    one, by_person, by_part = (_onto(x) for x in (np.ones((y.size, 1)), spread["person"], spread["part"]))
    forms = {
        "person": by_person - one,
        "part": by_part - by_person,
        "repeatability": np.eye(y.size) - by_part,
    }
    return _solved(y, spread, forms, {"person": "part", "part": "repeatability"})


def _solved(
    y: Floats, spread: Mapping[str, Floats], forms: Mapping[str, Floats], tested: Mapping[str, str]
) -> Design:
    """Set the sums of squares equal to what they are expected to be; `tested` says what against what."""
    df = {name: round(float(np.trace(form))) for name, form in forms.items()}
    short = next((name for name in forms if df[name] < 1), None)
    if short is not None:
        what = short.replace("_", " and ")
        raise StatisticsError(
            f"gauge study: the readings leave nothing to see {what} by; repeat some of them"
        )
    ss = {name: float(y @ form @ y) for name, form in forms.items()}
    expected = np.array(
        [
            [*(float(np.trace(form @ z @ z.T)) / df[name] for z in spread.values()), 1.0]
            for name, form in forms.items()
        ]
    )
    solved, sources = np.linalg.inv(expected), list(forms)
    weights = {
        component: {source: float(w) for source, w in zip(sources, row, strict=True) if abs(w) > 1e-12}
        for component, row in zip([*spread, "repeatability"], solved, strict=True)
    }
    rows = []
    for name in forms:
        if name == "repeatability":
            rows.append(AnovaRow(name, df[name], ss[name], ss[name] / df[name]))
        else:
            error = tested[name]
            rows.append(anova_row(name, df[name], ss[name], ss[error] / df[error], df[error]))
    total = float(y @ y)
    return with_sums((*rows, AnovaRow("total", y.size - 1, total, total / (y.size - 1))), weights)


def _forms(spread: dict[str, Floats], count: int) -> dict[str, Floats]:
    """Give the matrix of each source's sum of squares; refuse factors that cannot be told apart."""
    one = np.ones((count, 1))
    factors = {name: columns for name, columns in spread.items() if name != "person_part"}
    main, full = np.hstack([one, *factors.values()]), np.hstack([one, *spread.values()])
    if np.linalg.matrix_rank(main) < 1 + sum(columns.shape[1] - 1 for columns in factors.values()):
        raise StatisticsError(
            "gauge study: no part ties some of the people to the others; let all of them measure one part"
        )
    forms = {}
    for name in factors:
        rest = [columns for other, columns in factors.items() if other != name]
        forms[name] = _onto(main) - _onto(np.hstack([one, *rest]))
    if "person_part" in spread:
        forms["person_part"] = _onto(full) - _onto(main)
    return forms | {"repeatability": np.eye(count) - _onto(full)}


def _columns(labels: Integers) -> Floats:
    """One column a label, 1 where a reading bears it."""
    return np.asarray(labels[:, None] == np.unique(labels)[None, :], dtype=np.float64)


def _onto(columns: Floats) -> Floats:
    """Projection onto what the columns span."""
    return np.asarray(columns @ np.linalg.pinv(columns))
