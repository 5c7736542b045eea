import math
from datetime import date

from scipy.stats import binom

from qc.ingest import Known
from qc.ingest.checking.marks import _chance_of

TODAY = date(2026, 5, 20)


def lacquer(figures):
    head = [
        ["Card", "Lacquer card"],
        ["Serial", "TH-1001"],
        ["Model", "tenor"],
        ["Date", "2026-05-12"],
        [],
        ["Area", "Spot", "Repeat", "Thickness [um]"],
    ]
    places = [(a, s, r) for r in range(1, 9) for a in ("flare", "stem", "slide") for s in range(1, 6)]
    return head + [[*at, text] for at, text in zip(places, figures, strict=False)]


def test_a_late_card_is_marked_only_beside_a_record(judge, slide_card):
    card = slide_card(day="2026-04-01")
    assert judge(card).marks == ()
    late = judge(card, past=Known(today=TODAY, newest_day=date(2026, 5, 18)))
    assert [mark.id for mark in late.marks] == ["backdated"]
    assert "47 days before" in late.marks[0].sentence
    assert late.held.height == 0
    assert judge(card, past=Known(today=TODAY, newest_day=date(2026, 4, 10))).marks == ()


def test_figures_in_steps_of_five_are_marked(judge):
    stepped = [f"{13 + n * 7 % 9 * 0.5:.1f}" for n in range(60)]
    assert [mark.id for mark in judge(lacquer(stepped)).marks] == ["rounded-readings"]
    honest = [f"{13 + n * 37 % 41 / 10:.1f}" for n in range(60)]
    assert judge(lacquer(honest)).marks == ()


def test_the_chance_of_a_pile_up_is_binomial():
    # by hand: five of five where one in five is expected
    assert abs(_chance_of(5, 5) - 0.2**5) < 1e-15
    assert _chance_of(1, 5) == 1.0
    # a year of a card on one sheet: products of so many factors leave the range of a double
    assert math.isclose(_chance_of(700, 2360), binom.sf(699, 2360, 0.2), rel_tol=1e-9)


def test_marks_to_dict(judge, slide_card):
    late = judge(slide_card(day="2026-04-01"), past=Known(today=TODAY, newest_day=date(2026, 5, 18)))
    assert late.to_dict()["marks"][0]["id"] == "backdated"
