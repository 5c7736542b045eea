"""The reference page of the plan names every field there is, and no command offers what it does not know."""

import re
from pathlib import Path

import pytest

from qc.plan import model

PAGE = (Path(__file__).parents[2] / "docs" / "reference" / "plan.md").read_text("utf-8")
PARTS = [
    *(
        model.Shop,
        model.Model,
        model.ModelValve,
        model.Stage,
        model.Characteristic,
        model.DatedLimits,
        model.Derive,
    ),
    *(model.Gauge, model.Person, model.Tool, model.Card, model.Plan),
]


@pytest.mark.parametrize("part", PARTS, ids=[part.__name__ for part in PARTS])
def test_every_field_is_on_the_page(part):
    named = set(re.findall(r"`([a-z0-9_]+)`", PAGE))
    assert set(part.model_fields) - named == set()


@pytest.mark.parametrize("words", [model.Source, model.EventKind, model.Derivation, model.Kind, model.Shape])
def test_every_word_is_on_the_page(words):
    named = set(re.findall(r"`([a-z0-9-]+)`", PAGE))
    assert set(words.__args__) - named == set()
