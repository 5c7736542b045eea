"""Words of a bench are brought into the words of the plan, and only where one figure or field fits."""

from pathlib import Path

import pytest

from qc.ingest.cards.headings import CardHeadings
from qc.ingest.cells import known_field
from qc.plan import load_plan

PLAN = load_plan((Path(__file__).parents[2] / "strangers" / "sixth" / "plan.yaml").read_text("utf-8"))


@pytest.mark.parametrize(
    ("card", "typed", "field"),
    [
        ("hammer-card", "Härte", "value:hardness"),
        ("hammer-card", "Gewicht g", "value:bell_mass"),
        ("valve-card", "Axialspiel µm", "value:end_play"),
        ("valve-card", "Leckrate cm³/min", "value:rotor_leak"),
        ("valve-card", "Drehwinkel °", "value:throw"),
        ("ts-card", "Abzugskraft [N]", "value:ts_pull"),
        ("align-card", "Spiel", None),
        ("hammer-card", "Ofen", None),
    ],
)
def test_a_figure_is_read_in_the_words_of_a_bench(card, typed, field):
    words = CardHeadings(next(c for c in PLAN.cards if c.id == card), PLAN)
    found = words.read(typed)
    assert (found.field if found else None) == field


def test_closed_words_are_known_with_their_abbreviations():
    typed = ["Dat.", "Ser.Nr.", "S/N", "Bem.", "Anm.", "Prüfer", "gez.", "Uhr", "Einh.", "Teilton"]
    assert [known_field(text) for text in typed] == [
        "day", "serial", "serial", "note", "note", "person", "person", "time", "unit", "partial",
    ]  # fmt: skip
