"""A name taken out of a plan's text: the entry of that code loses it, and nothing else changes."""

import pytest

from qc.jobs.people.forgetting import name_in, says_the_same, without_name
from qc.plan import template_text

PLAIN = template_text().replace("{code: QL, name: Quality lead}", "{code: QL, name: %s}")


@pytest.mark.parametrize(
    "written", ["Ina Sorrel", '"Ina Sorrel"', "'Ina Sorrel'", "Ina   Sorrel", "Łucja Żuk"]
)
def test_the_name_is_gone_however_it_is_written(written):
    text = PLAIN % written
    assert name_in(text, "QL")
    new = without_name(text, "QL", [])
    assert name_in(new, "QL") == "" and new == PLAIN % '""'
    assert says_the_same(text, new)


def test_a_name_in_lines_of_its_own_and_of_another_person():
    text = "people:\n  - code: AB\n    name: Ina\n  - code: CD\n    name: Ina\n"
    assert (
        without_name(text, "AB", []) == 'people:\n  - code: AB\n    name: ""\n  - code: CD\n    name: Ina\n'
    )


def test_remarks_lose_the_name_and_what_the_program_reads_does_not():
    text = PLAIN % "Ina Sorrel" + "# asked of Ina Sorrel; not of Ina Sorrelson\n"
    text = text.replace("name: Three Benches", "name: Ina Sorrel  # by Ina Sorrel")
    new = without_name(text, "QL", ["Ina Sorrel"])
    assert "name: Ina Sorrel  # by QL" in new and "asked of QL; not of Ina Sorrelson" in new


def test_a_short_name_is_not_looked_for_in_remarks():
    text = PLAIN % "Bo" + "# Bo asked\n"
    assert without_name(text, "QL", ["Bo"]).endswith("# Bo asked\n")


def test_no_name_and_no_yaml_change_nothing():
    for text in (PLAIN % '""', "people: [", "[]", ""):
        assert without_name(text, "QL", []) == text
