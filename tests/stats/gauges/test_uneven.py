"""Gauge studies with holes: equal to the full table where nothing is missing, unbiased where something is."""

import numpy as np
import pytest

from qc.stats import StatisticsError, gauge_study
from qc.stats.gauges.anova import crossed_design, nested_design, one_person_design
from qc.stats.gauges.uneven import uneven_design, uneven_nested_design

PARTS, PERSONS, REPEATS = 8, 3, 2
PART = np.repeat(np.arange(PARTS), PERSONS * REPEATS)
PERSON = np.tile(np.repeat(np.arange(PERSONS), REPEATS), PARTS)
NAMES = np.array(["Ada", "Bo", "Cy"])
MISSING = [3, 10, 11, 40]  # a repeat, both readings of a cell, another repeat


def study_of(rng, sds=(5.0, 2.0, 1.0, 0.5), offsets=None):
    """Readings of parts, persons, both together and repeats with these spreads."""
    part, person, both, repeat = sds
    people = rng.normal(0, person, PERSONS) if offsets is None else np.array(offsets)
    cells = rng.normal(0, both, (PARTS, PERSONS))
    return rng.normal(0, part, PARTS)[PART] + people[PERSON] + cells[PART, PERSON] + rng.normal(0, repeat, 48)


@pytest.mark.parametrize("pooled", [False, True])
def test_a_full_layout_gives_the_usual_table(pooled):
    values = study_of(np.random.default_rng(1))
    usual = crossed_design(values.reshape(PARTS, PERSONS, REPEATS), pooled=pooled)
    found = uneven_design(values, PART, PERSON, pooled=pooled)
    assert [(row.source, row.df) for row in found.rows] == [(row.source, row.df) for row in usual.rows]
    for one, other in zip(found.rows, usual.rows, strict=True):
        assert (one.ss, one.p_value) == (pytest.approx(other.ss), pytest.approx(other.p_value, abs=1e-12))
    for component in usual.weights:
        assert found.raw(component) == pytest.approx(usual.raw(component), abs=1e-9)


def test_one_person_with_a_full_layout_gives_the_one_way_table():
    values = study_of(np.random.default_rng(2))[PERSON == 0]
    usual = one_person_design(values.reshape(PARTS, REPEATS))
    found = uneven_design(values, PART[PERSON == 0], np.zeros(16, dtype=int))
    assert found.raw("part") == pytest.approx(usual.raw("part"))


def test_components_of_a_study_with_holes_are_unbiased():
    """400 studies with 4 of 48 readings missing: each mean within 4 standard errors of the true variance."""
    rng = np.random.default_rng(3)
    kept = np.delete(np.arange(48), MISSING)
    found = []
    for _ in range(400):
        design = uneven_design(study_of(rng)[kept], PART[kept], PERSON[kept])
        found.append([design.raw(name) for name in ("part", "person", "person_part", "repeatability")])
    error = np.std(found, axis=0) / np.sqrt(len(found))
    assert np.all(np.abs(np.mean(found, axis=0) - [25.0, 4.0, 1.0, 0.25]) < 4 * error)


def test_a_study_with_missing_cells_is_answered_and_names_who_reads_high():
    rng = np.random.default_rng(4)
    values = study_of(rng, sds=(5.0, 0.0, 0.1, 0.3), offsets=(0.0, 1.5, 0.0))
    kept = np.delete(np.arange(48), MISSING)
    found = gauge_study(values[kept], PART[kept].tolist(), NAMES[PERSON[kept]].tolist(), lower=-50, upper=50)
    assert (found.parts, found.persons, found.repeats) == (8, 3, 2)
    assert any("4 of 48 readings of a full study are missing" in line for line in found.warnings)
    high = max(found.reads, key=lambda one: one.offset)
    assert high.person == "Bo" and high.clear and high.interval[0] < 1.0 < high.interval[1]
    assert "persons read at different levels" in found.advice and "Bo reads" in found.advice


def test_nobody_is_named_where_persons_read_alike():
    """Twenty settled studies at 95 %: a name in at most four of them."""
    rng = np.random.default_rng(6)
    named = 0
    for _ in range(20):
        values = study_of(rng, sds=(5.0, 0.0, 0.2, 0.3), offsets=(0.0, 0.0, 0.0))
        named += any(one.clear for one in gauge_study(values, PART.tolist(), NAMES[PERSON].tolist()).reads)
    assert named <= 4


@pytest.mark.parametrize(
    "parts, persons, said",
    [
        ([1, 1, 2, 2, 3, 3, 4, 4], list("aaaabbbb"), "no part ties some of the people"),
        ([1, 2, 1, 3], list("aabb"), "leave nothing to see"),
    ],
)
def test_studies_that_are_too_thin_are_refused(parts, persons, said):
    values = np.random.default_rng(1).normal(size=len(parts))
    with pytest.raises(StatisticsError, match=said):
        gauge_study(values, parts, persons)


NESTED_PART, NESTED_PERSON = np.repeat(np.arange(24), 2), np.repeat(np.arange(4), 12)
NESTED_MISSING = [5, 14, 15, 16, 17, 40]  # two repeats, two whole parts of one person


def nested_study_of(rng):
    """Readings of four persons with six parts of their own, read twice: sds 2, 3 and 0.5."""
    people, parts = rng.normal(0, 2.0, 4), rng.normal(0, 3.0, 24)
    return people[NESTED_PERSON] + parts[NESTED_PART] + rng.normal(0, 0.5, 48)


def test_a_full_nested_layout_gives_the_usual_table():
    values = nested_study_of(np.random.default_rng(7))
    usual = nested_design(values.reshape(4, 6, 2))
    found = uneven_nested_design(values, NESTED_PART, NESTED_PERSON)
    for one, other in zip(found.rows, usual.rows, strict=True):
        assert (one.source, one.df, one.ss) == (other.source, other.df, pytest.approx(other.ss))
        assert one.p_value == (None if other.p_value is None else pytest.approx(other.p_value, abs=1e-12))
    for component in usual.weights:
        assert found.raw(component) == pytest.approx(usual.raw(component), abs=1e-9)


def test_components_of_a_nested_study_with_holes_are_unbiased():
    """600 studies with 6 of 48 readings missing: each mean within 4 standard errors of the true variance."""
    rng = np.random.default_rng(8)
    kept = np.delete(np.arange(48), NESTED_MISSING)
    found = []
    for _ in range(600):
        design = uneven_nested_design(nested_study_of(rng)[kept], NESTED_PART[kept], NESTED_PERSON[kept])
        found.append([design.raw(name) for name in ("person", "part", "repeatability")])
    error = np.std(found, axis=0) / np.sqrt(len(found))
    assert np.all(np.abs(np.mean(found, axis=0) - [4.0, 9.0, 0.25]) < 4 * error)


def test_a_nested_study_with_missing_cells_is_answered():
    kept = np.delete(np.arange(48), NESTED_MISSING)
    values = nested_study_of(np.random.default_rng(9))[kept]
    names = [f"part {one % 6}" for one in NESTED_PART[kept]]
    found = gauge_study(values, names, NESTED_PERSON[kept].tolist(), nested=True)
    assert (found.design, found.parts, found.persons, found.repeats) == ("nested", 6, 4, 2)
    assert any("6 of 48 readings" in line and "within their persons" in line for line in found.warnings)
    assert found.intervals["repeatability"][0] < found.components["repeatability"]
