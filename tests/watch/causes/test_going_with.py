"""Which earlier figures go with a final result: named where they do, and said with care."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from qc.plan import Card, Characteristic, Derive, Model, Plan, Shop, Stage
from qc.watch import Point, SeriesKey, SeriesVerdict, final_results, screen

FIRST_DAY = date(2026, 1, 5)

FORCE = Characteristic(id="force", name="Slide force", unit="N", words={"noun": "running force"})
GAP = Characteristic(id="gap", name="Gap", unit="um", words={"above": "wider", "below": "tighter"})
NOTE = Characteristic(id="note", name="Note", unit="cent", charted=False)
SCATTER = Characteristic(
    id="scatter",
    name="Note scatter",
    unit="cent",
    derive=Derive(what="note-scatter"),
    words={"noun": "note scatter", "above": "larger", "below": "smaller"},
)
LENGTH = Characteristic(id="length", name="Length", unit="mm", derive=Derive(what="main-length"))
LEAK = Characteristic(id="leak", name="Leak", unit="cm3/min")
TENOR = Model(id="tenor", name="Tenor", family="tenor", pedal_midi=34, length_mm=2945)
PLAN = Plan(
    workshop=Shop(name="Osier Bend"),
    models=(TENOR,),
    stages=(
        Stage(id="draw", name="Draw", characteristics=(GAP,)),
        Stage(id="slide", name="Slide", characteristics=(FORCE, LEAK)),
        Stage(id="tuning", name="Tuning", characteristics=(NOTE, LENGTH, SCATTER)),
    ),
    cards=(Card(id="p", title="Played", source="bench", event="play-test"),),
)
NO_TESTS = pl.DataFrame(schema={"serial": pl.String, "model": pl.String, "day": pl.Date, "code": pl.String})


def verdict(stage, characteristic, values, prefix="A"):
    """Return a judged series of which only the points matter here."""
    points = tuple(
        Point(n + 1, f"{prefix}{n:03d}", FIRST_DAY + timedelta(days=n), "tenor", float(v), float(v))
        for n, v in enumerate(values)
        if np.isfinite(v)
    )
    empty = dict.fromkeys(
        "ppk ppk_low ppk_high outside_share outside_low outside_high target lower upper natural_lower "
        "natural_upper sd_between sd_within".split()
    )
    return SeriesVerdict(
        key=SeriesKey(stage, characteristic, "all"), stage_name=stage, name=characteristic, unit="", kind="",
        pieces=len(points), behaviour="steady", capable="", ppk_reason="", present=(), centered=False,
        points=points, stretches=(), signals=(), **empty,
    )  # fmt: skip


def by_name(found):
    return {f"{one.result.stage}/{one.result.characteristic}": one for one in found}


def test_leaks_note_scatter_and_the_play_test_are_the_final_results():
    names = [f"{one.stage}/{one.characteristic}" for one in final_results(PLAN)]
    assert names == ["slide/leak", "tuning/scatter", "play-test/play-test"]


def test_a_figure_that_goes_with_a_result_is_named_with_its_pieces(rng):
    force = rng.normal(1.2, 0.2, 60)
    scatter = 5 + 6 * (force - 1.2) + rng.normal(0, 0.6, 60)
    shop = [verdict("slide", "force", force), verdict("tuning", "scatter", scatter)]
    shop.append(verdict("draw", "gap", rng.normal(size=60)))
    found = by_name(screen(PLAN, shop, {}, NO_TESTS))["tuning/scatter"]
    assert [one.figure.characteristic for one in found.goes_with] == ["force"]
    one = found.goes_with[0]
    assert one.found.interval[0] > 0 and one.p_value <= 0.05
    assert one.sentence.startswith("Note scatter: larger where the running force is higher (rank correlation")
    assert "60 pieces" in one.sentence and "the middle of 20 pieces was" in one.sentence
    assert one.to_dict()["pieces"] == 60 and "cause" not in one.sentence


def test_a_figure_that_does_not_is_not(rng):
    shop = [verdict("slide", "force", rng.normal(size=60)), verdict("tuning", "scatter", rng.normal(size=60))]
    found = by_name(screen(PLAN, shop, {}, NO_TESTS))["tuning/scatter"]
    assert found.goes_with == ()
    assert found.sentence == "Nothing clearer than chance among 1 earlier figure of 60 pieces."
    assert [one.characteristic for one in found.too_few] == ["gap", "leak"]


def test_what_is_computed_from_the_same_notes_is_no_answer(rng):
    values = rng.normal(size=40)
    shop = [verdict("tuning", "length", values), verdict("tuning", "scatter", values)]
    found = by_name(screen(PLAN, shop, {}, NO_TESTS))["tuning/scatter"]
    assert found.looked_at == () and found.sentence.startswith("Too few pieces: 40 pieces")


def test_a_figure_of_a_part_is_one_of_the_piece_it_went_into(rng):
    gap = rng.normal(size=50)
    scatter = -gap + 0.3 * rng.normal(size=50)
    shop = [verdict("draw", "gap", gap, "T"), verdict("tuning", "scatter", scatter)]
    home = {f"T{n:03d}": f"A{n:03d}" for n in range(50)}
    assert by_name(screen(PLAN, shop, {}, NO_TESTS))["tuning/scatter"].looked_at == ()
    found = by_name(screen(PLAN, shop, home, NO_TESTS))["tuning/scatter"].goes_with
    assert [one.figure.characteristic for one in found] == ["gap"]
    assert "larger where the gap is tighter" in found[0].sentence


def test_the_first_verdict_of_the_play_test_is_asked_about(rng):
    force = rng.normal(1.2, 0.2, 80)
    codes = np.where(force + rng.normal(0, 0.03, 80) > 1.35, "rework", "pass")
    tests = pl.DataFrame(
        {
            "serial": [f"A{n:03d}" for n in range(80)] * 2,
            "model": ["tenor"] * 160,
            "day": [FIRST_DAY + timedelta(days=n) for n in range(160)],
            "code": [*codes, *["pass"] * 80],
        }
    )
    found = by_name(screen(PLAN, [verdict("slide", "force", force)], {}, tests))["play-test/play-test"]
    assert found.pieces == 80 and len(found.goes_with) == 1
    said = found.goes_with[0].sentence
    assert said.startswith("Play-test failures: more often where the running force is higher")
    assert "of 26 failed" in said


def test_left_out_pieces_take_no_part(rng):
    values = rng.normal(size=25)
    whole = verdict("tuning", "scatter", values)
    half = replace(whole, points=tuple(replace(p, left_out=p.ordinal <= 10) for p in whole.points))
    shop = [verdict("slide", "force", values), half]
    assert by_name(screen(PLAN, shop, {}, NO_TESTS))["tuning/scatter"].pieces == 15


def test_all_results_are_corrected_together(rng):
    """One association of the many looked at: the chance told is larger than that of asking it alone."""
    force = rng.normal(size=60)
    shop = [verdict("slide", "force", force), verdict("draw", "gap", rng.normal(size=60))]
    shop += [verdict("slide", "leak", rng.normal(size=60))]
    shop += [verdict("tuning", "scatter", force + 0.5 * rng.normal(size=60))]
    found = by_name(screen(PLAN, shop, {}, NO_TESTS))
    asked = sum(len(one.looked_at) for one in found.values())
    one = found["tuning/scatter"].goes_with[0]
    assert asked == 5 and one.p_value == pytest.approx(min(1.0, asked * one.found.p_value))
