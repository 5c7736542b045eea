"""What is learned of the scatter is fixed for its period, the same day by day as at once, and told."""

import json
import re
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from qc.jobs.judging import noise as learning
from qc.jobs.judging.catching_up import catch_up
from qc.jobs.judging.verdicts import judge_now
from qc.jobs.rejudge import rejudge
from qc.jobs.status import status
from qc.jobs.workshop import open_workshop
from qc.plan import EVENT, READING
from qc.store import NewSheet, sheet_hash

PLAN = """
workshop: {name: Reed Lane Works, time_zone: UTC, today: 2026-06-30, false_signals_per_month: 1}
models: [{id: tenor, name: Tenor, family: tenor, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: IS}]
cards: [{id: trial, title: Trial card, source: bench, stage: s0, characteristics: [a, b, c]}]
stages:
  - id: s0
    name: First
    characteristics:
      - {id: a, name: Ay, unit: mm, pool: all}
      - {id: b, name: Bee, unit: mm, pool: all}
      - {id: c, name: Cee, unit: mm, pool: all, shape: normal}
      - {id: flaws, name: Flaws, unit: count, kind: count, pool: all}
"""
KINDS = {"str": pl.String, "int": pl.Int64, "float": pl.Float64, "bool": pl.Boolean, "date": pl.Date}
KINDS["datetime"] = pl.Datetime("us", "UTC")
WHEN = datetime(2026, 6, 30, 12, tzinfo=UTC)
FIRST = date(2026, 2, 2)
FIGURES = ("a", "b", "c", "flaws")
PIECES = 90


def frame(rows, columns):
    schema = {name: KINDS[kind] for name, kind in columns.items()}
    return pl.DataFrame([{n: row.get(n) for n in columns} for row in rows], schema=schema)


def reading(number, figure, day, value):
    moment = datetime(day.year, day.month, day.day, tzinfo=UTC)
    return {
        **{"serial": f"R-{number:03d}", "day": day, "measured_at": moment, "has_time": False},
        **{"stage": "s0", "characteristic": figure, "value": value, "unit": "mm", "model": "tenor"},
        **{"row": number, "person": "IS", "batch": f"B-{number // 6:02d}"},
    }


def history(seed=3, step_at=60):
    """A piece a day; lots share a part of their scatter, and `a` moves half way."""
    rng = np.random.default_rng(seed)
    lot = {figure: rng.standard_normal(PIECES) * 0.7 for figure in FIGURES}
    rows = []
    for number in range(PIECES):
        day = FIRST + timedelta(days=number)
        for figure in FIGURES:
            level = 10 + lot[figure][number // 6] + (4 if figure == "a" and number >= step_at else 0)
            value = float(rng.poisson(0.5)) if figure == "flaws" else round(level + rng.standard_normal(), 3)
            rows.append(reading(number, figure, day, value))
    return rows


@pytest.fixture
def make_shop(tmp_path):
    made = []

    def make(name):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "plan.yaml").write_text(PLAN, "utf-8")
        made.append(open_workshop(folder))
        return made[-1]

    yield make
    for workshop in made:
        workshop.store.close()


def put(shop, rows):
    data = json.dumps(str(rows)).encode()
    frames = {"readings": frame(rows, READING), "events": frame([], EVENT), "held": pl.DataFrame()}
    shop.store.add_sheets([NewSheet("x.csv", sheet_hash(data), data, "trial", **frames)], who="IS", when=WHEN)
    return catch_up(shop)


def kept(shop):
    return shop.store.states(f"noise s0/{figure}/all" for figure in FIGURES)


def verdicts(shop):
    return {v.series: v.plain for v in shop.store.verdicts()}


@pytest.mark.slow
def test_a_history_at_once_gives_what_a_few_days_at_a_time_give(make_shop, rng):
    """A day alone, some days together, within a week and over its end: as cards are handed in."""
    daily, at_once = make_shop("daily"), make_shop("at_once")
    rows = history()
    put(at_once, rows)
    begun = 0
    while begun < PIECES:
        ended = begun + int(rng.choice([1, 2, 5, 9]))
        put(daily, [row for row in rows if begun <= row["row"] < ended])
        begun = ended
    assert kept(daily) == kept(at_once)
    told, judged = verdicts(daily), verdicts(at_once)
    alike = [name for name in told if told[name]["present"] == judged[name]["present"]]
    assert len(alike) >= 2
    # what had been told as over stays so: the present pieces may be others, and how many they count as
    counted = {"counts_as", "sentence"}
    for name in told:
        own, other = (
            {k: v for k, v in (one[name]["scatter"] or {}).items() if name in alike or k not in counted}
            for one in (told, judged)
        )
        assert own == other
    raised = {n: [(s["kind"], s["raised"]) for s in v["signals"]] for n, v in verdicts(at_once).items()}
    assert {n: [(s["kind"], s["raised"]) for s in v["signals"]] for n, v in verdicts(daily).items()} == raised
    assert raised["s0/a/all"]


def test_weeks_come_first_then_months_and_counts_take_no_part(make_shop):
    shop = make_shop("shop")
    put(shop, history())
    own = kept(shop)
    assert set(own) == {f"noise s0/{figure}/all" for figure in "abc"}
    begins = list(own["noise s0/a/all"]["periods"])
    assert begins[0] == "2026-02-02" and begins[1] == "2026-02-09" and begins[-1] == "2026-05-01"
    assert "2026-04-01" in begins and "2026-04-06" not in begins
    pieces = [noise["pieces"] for noise in own["noise s0/a/all"]["periods"].values()]
    assert pieces[0] == 0 and pieces == sorted(pieces) and pieces[-1] > 200
    assert own["noise s0/b/all"]["lots"] == "batch"


def test_estimates_cut_at_what_was_raised_before_not_after(make_shop):
    """The step begins after March: April's estimates know nothing of it, May's leave it out."""
    moved, still = make_shop("moved"), make_shop("still")
    put(moved, history(step_at=60))
    put(still, history(step_at=999))
    april = [kept(shop)["noise s0/a/all"]["periods"]["2026-04-01"] for shop in (moved, still)]
    assert april[0] == april[1]
    may = [kept(shop)["noise s0/a/all"]["periods"]["2026-05-01"] for shop in (moved, still)]
    # uncut, two levels four apart would pass for lots that share nearly all of the scatter
    assert may[0]["lots"] == pytest.approx(may[1]["lots"], abs=0.1)


def test_a_late_card_goes_by_the_estimates_of_its_period(make_shop):
    shop = make_shop("shop")
    rows = history()
    put(shop, rows)
    before = kept(shop)
    touched = put(shop, [reading(500, "b", FIRST + timedelta(days=20), 10.0)])
    assert [str(v.key) for v in touched] == ["s0/b/all"]
    assert kept(shop) == before


def test_judging_from_nothing_keeps_what_was_fixed(make_shop):
    shop = make_shop("shop")
    for start in range(0, PIECES, 15):
        put(shop, [row for row in history() if start <= row["row"] < start + 15])
    put(shop, [reading(500, "a", FIRST + timedelta(days=3), 25.0)])
    before, estimates = verdicts(shop), kept(shop)
    assert rejudge(shop).changed == ()
    assert verdicts(shop) == before and kept(shop) == estimates


def test_asked_to_learn_anew_it_does(make_shop):
    shop = make_shop("shop")
    rows = history()
    put(shop, [row for row in rows if row["row"] >= 45])
    put(shop, [row for row in rows if row["row"] < 45])
    before = kept(shop)
    rejudge(shop, learn=True)
    assert kept(shop) != before
    fresh = make_shop("fresh")
    put(fresh, rows)
    assert kept(shop) == kept(fresh)


def test_an_upload_learns_nothing_within_a_period_and_touches_only_its_series(make_shop, monkeypatch):
    shop = make_shop("shop")
    put(shop, history())
    others = {n: v for n, v in verdicts(shop).items() if n != "s0/b/all"}
    asked = []
    monkeypatch.setattr(learning, "learn_noise", lambda pool: asked.append(pool))
    put(shop, [reading(200, "b", FIRST + timedelta(days=PIECES), 10.0)])
    assert not asked
    assert {n: v for n, v in verdicts(shop).items() if n != "s0/b/all"} == others


def test_a_new_month_is_learned_with_the_sisters_that_are_not_judged_now(make_shop):
    shop = make_shop("shop")
    put(shop, history())
    put(shop, [reading(200, "b", date(2026, 6, 1), 10.0)])
    june = [own["periods"]["2026-06-01"] for own in kept(shop).values()]
    assert len(june) == 3
    assert june[0]["pieces"] == june[1]["pieces"] > 3 * (PIECES - 5)


def test_a_look_back_keeps_nothing(make_shop):
    shop = make_shop("shop")
    put(shop, history())
    before = kept(shop)
    judge_now(shop, afresh=True, keep=False)
    assert kept(shop) == before


def test_the_command_tells_shape_and_what_pieces_count_as(make_shop):
    shop = make_shop("shop")
    put(shop, history())
    found = status(shop)
    told = {row["characteristic"]: row for row in found.to_dict()["series"]}
    assert [told[name]["shape"] for name in FIGURES] == ["auto", "auto", "normal", None]
    worth = told["b"]["counts_as"]
    assert worth is not None and 20 < worth < 60
    said = re.search(r"Bee: .* these (\d+) count as about (\d+)\.", found.to_text())
    assert said and int(said[2]) == worth < int(said[1]) <= PIECES
    assert told["flaws"]["counts_as"] is None


def test_what_was_used_stands_in_what_was_told(make_shop):
    shop = make_shop("shop")
    put(shop, history())
    last = kept(shop)["noise s0/b/all"]["periods"]["2026-05-01"]
    (told,) = shop.store.told(series=["s0/b/all"])
    assert told.plain["scatter"]["noise"] == last
    assert shop.store.verify() == []
