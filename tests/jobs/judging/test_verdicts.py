"""Judging after every upload gives what judging from nothing gives, and reads no more than it must."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from qc.jobs.judging import touched, windows
from qc.jobs.judging.catching_up import catch_up
from qc.jobs.judging.kept import load_verdicts
from qc.jobs.judging.rates import present_budget
from qc.jobs.judging.verdicts import judge_now
from qc.jobs.rejudge import rejudge
from qc.jobs.workshop import open_workshop
from qc.plan import EVENT, READING
from qc.sayings import Saying, What
from qc.store import NewSheet, sheet_hash
from qc.watch import Span, month_pace

PLAN = """
workshop: {name: Reed Lane Works, time_zone: UTC, today: 2026-11-24, false_signals_per_month: PER_MONTH}
models: [{id: tenor, name: Tenor, family: tenor, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: IS}]
gauges:
  - {id: G-1, name: Gauge, gauge_class: rig, resolution: 0.001, unit: mm, daily_check: true,
     check_tolerance: 0.1}
cards: [{id: trial, title: Trial card, source: bench, stage: s0, characteristics: [f0]}]
stages:
  - {id: s0, name: First, characteristics: [{id: f0, name: First figure, unit: mm, pool: all}]}
  - {id: s1, name: Second, characteristics: [{id: f1, name: Second figure, unit: mm, pool: all}]}
"""
KINDS = {"str": pl.String, "int": pl.Int64, "float": pl.Float64, "bool": pl.Boolean, "date": pl.Date}
KINDS["datetime"] = pl.Datetime("us", "UTC")
LAST = date(2026, 11, 23)
WHEN = datetime(2026, 11, 24, 12, tzinfo=UTC)
KEYS = ("s0/f0/all", "s1/f1/all")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.setattr(windows, "STEP", 20)
    (tmp_path / "plan.yaml").write_text(PLAN.replace("PER_MONTH", "0.1"), "utf-8")
    workshop = open_workshop(tmp_path)
    yield workshop
    workshop.store.close()


def frame(rows, columns):
    schema = {name: KINDS[kind] for name, kind in columns.items()}
    return pl.DataFrame([{n: row.get(n) for n in columns} for row in rows], schema=schema)


def figures(numbers, stage=0, values=None, days=None, **more):
    """Two pieces a day, the last one on the eve of today."""
    rng = np.random.default_rng(100 + stage)
    drawn = 10 + rng.standard_normal(400)
    made = []
    for place, n in enumerate(numbers):
        day = days[place] if days else LAST - timedelta(days=(199 - n) // 2)
        value = drawn[n] if values is None else values[place]
        moment = datetime(day.year, day.month, day.day, tzinfo=UTC)
        own = {"serial": f"R-{n:04d}", "day": day, "measured_at": moment, "value": round(float(value), 3)}
        place_of = {"stage": f"s{stage}", "characteristic": f"f{stage}", "model": "tenor", "unit": "mm"}
        made.append({**own, **place_of, "has_time": False, "row": n + 1, "person": "IS", **more})
    return made


def put(workshop, readings=(), events=()):
    data = json.dumps([str(readings), str(events)]).encode()
    frames = {"readings": frame(readings, READING), "events": frame(events, EVENT), "held": pl.DataFrame()}
    sheet = NewSheet("x.csv", sheet_hash(data), data, "trial", **frames)
    workshop.store.add_sheets([sheet], who="IS", when=WHEN)
    return {str(v.key) for v in catch_up(workshop)}


def verdict(workshop, key=KEYS[0]):
    return next(v for v in load_verdicts(workshop) if str(v.key) == key)


def test_only_what_is_touched_is_judged(shop):
    assert put(shop, figures(range(5))) == {KEYS[0]}
    assert put(shop, figures(range(5), 1)) == {KEYS[1]}
    assert catch_up(shop) == []


def test_the_window_moves_on_and_agrees_with_judging_from_nothing(shop):
    for first in range(0, 130, 13):
        put(shop, figures(range(first, min(first + 13, 130))))
    now = verdict(shop)
    assert 20 <= now.pieces < 41 and now.before + now.pieces == 130
    assert now.before == 100 and now.points[0].serial == "R-0100"
    assert any("100 pieces made before" in note for note in now.notes)
    assert rejudge(shop).changed == ()


def test_a_late_reading_is_judged_from_its_place(shop):
    for first in range(0, 120, 30):
        put(shop, figures(range(first, first + 30)))
    before = verdict(shop)
    late = figures([390], values=[10.0], days=[before.points[0].day - timedelta(days=9)])
    assert put(shop, late) == {KEYS[0]}
    now = verdict(shop)
    assert now.before + now.pieces == before.before + before.pieces + 1
    assert rejudge(shop).changed == ()
    inside = figures([391], values=[10.0], days=[now.points[5].day])
    put(shop, inside)
    assert "R-0391" in [p.serial for p in verdict(shop).points[4:9]]
    assert rejudge(shop).changed == ()


def test_a_piece_measured_again_later_does_not_come_back_into_the_window(shop):
    put(shop, figures(range(100)))
    put(shop, figures([3], values=[30.0], days=[LAST]))
    put(shop, figures(range(100, 110)))
    assert "R-0003" not in [p.serial for p in verdict(shop).points]
    assert rejudge(shop).changed == ()


def test_a_corrected_reading_is_judged_anew(shop):
    put(shop, figures(range(30)))
    old = shop.store.readings(serials=["R-0012"])
    row = old.drop("id").with_columns(value=pl.lit(55.0))
    shop.store.replace_reading(old["id"][0], row, who="IS", when=WHEN, why="typed wrong")
    assert {str(v.key) for v in catch_up(shop)} == {KEYS[0]}
    assert next(p for p in verdict(shop).points if p.serial == "R-0012").value == 55.0
    assert rejudge(shop).changed == ()


def shifted(workshop):
    """A second figure that moved at piece 61, measured with a gauge nobody checked from then on."""
    values = 10 + np.random.default_rng(9).standard_normal(74)
    values[60:] += 8
    put(workshop, figures(range(74), 1, values, gauge="G-1"))
    assert verdict(workshop, KEYS[1]).behaviour == "drifting"
    return verdict(workshop, KEYS[1])


def test_what_comes_in_later_around_a_finding_touches_it(shop, monkeypatch):
    monkeypatch.setattr(windows, "STEP", 400)  # how often a thing changed says how rare it is
    days = [p.day for p in shifted(shop).points]
    checks = [
        {"kind": "gauge-check", "subject": "G-1", "day": day, "value": 0.0} for day in sorted({*days[:60]})
    ]
    assert put(shop, events=checks) == {KEYS[1]}
    assert verdict(shop, KEYS[1]).current.suspects[0].kind == "gauge-check"
    assert rejudge(shop).changed == ()


def test_an_earlier_figure_that_comes_late_is_a_suspect(shop, monkeypatch):
    monkeypatch.setattr(windows, "STEP", 400)
    shifted(shop)
    values = 5 + 0.3 * np.random.default_rng(10).standard_normal(74)
    values[60:] += 4
    early = [date(2026, 8, 1)] * 74
    assert put(shop, figures(range(74), 0, values, early)) == set(KEYS)
    assert verdict(shop, KEYS[1]).current.suspects[0].kind == "upstream"
    assert rejudge(shop).changed == ()


def test_other_pieces_at_a_later_stage_touch_no_finding(shop):
    put(shop, figures(range(20), 0, [10.0, 10.1] * 5 + [14.0, 14.1] * 5))
    assert put(shop, figures(range(20), 1)) == {KEYS[1]}
    assert put(shop, events=[{"kind": "shipped", "serial": "R-0001", "day": LAST}]) == set()


def test_a_rate_is_kept_although_the_pace_changed(shop):
    put(shop, figures(range(50)))
    first = shop.store.state("rates s0/f0/all")
    months = sorted(first)
    put(shop, figures(range(50, 200)))
    later = shop.store.state("rates s0/f0/all")
    assert {m: later[m] for m in months} == first
    assert len(set(later.values())) > 1
    assert rejudge(shop).changed == ()


def test_a_past_month_is_paced_by_its_own_count_or_the_quarter_before(shop):
    days = [date(2026, 5, 1) + timedelta(days=n) for n in range(31)]
    put(shop, figures(range(31), days=days))
    assert shop.store.state("pace 2026-05") == {KEYS[0]: 31.0}
    assert shop.store.state("rates s0/f0/all")["2026-05"] == pytest.approx(0.1 / (31 + 1))
    assert month_pace(days, "2026-06") == pytest.approx(31 * 365.25 / 12 / 92)


def test_a_changed_budget_holds_from_the_next_months_on(shop, tmp_path):
    put(shop, figures(range(120)))
    kept = shop.store.state("rates s0/f0/all")
    (tmp_path / "plan.yaml").write_text(PLAN.replace("PER_MONTH", "0.005"), "utf-8")
    later = open_workshop(tmp_path)
    put(later, figures(range(120, 200)))
    now = later.store.state("rates s0/f0/all")
    assert {m: now[m] for m in kept} == kept
    assert min(now[m] for m in set(now) - set(kept)) < 0.2 * min(kept.values())
    assert present_budget(later).per_month == 0.005
    later.store.close()


def test_a_signal_tells_the_rate_of_the_point_that_raised_it(shop):
    verdict_ = shifted(shop)
    signal = verdict_.current
    rates = shop.store.state("rates s1/f1/all")
    assert signal.rate == rates[f"{signal.raised_day:%Y-%m}"]


def test_a_look_back_keeps_no_windows(shop):
    put(shop, figures(range(120)))
    before = shop.store.state("windows")
    back = open_workshop(shop.folder, as_of=verdict(shop).points[0].day - timedelta(days=20))
    old = judge_now(back, {KEYS[0]}).verdicts[0]
    back.store.close()
    assert old.pieces and max(p.day for p in old.points) <= back.today
    assert shop.store.state("windows") == before


def test_a_frozen_state_keeps_the_window_open(shop):
    put(shop, figures(range(45)))
    first = verdict(shop).points[2].serial
    frozen = Saying(What.FREEZE, "IS", "x", first=first, last="R-0044")
    shop.store.say(KEYS[0], frozen, when=WHEN)
    assert {str(v.key) for v in catch_up(shop)} == {KEYS[0]}
    put(shop, figures(range(45, 130)))
    now = verdict(shop)
    assert first in [p.serial for p in now.points[:4]] and now.pieces > 80
    assert Span(first, "R-0044").ordinals(now.points)[1] == now.baseline_last
    assert rejudge(shop).changed == ()
    shop.store.say(KEYS[0], replace(frozen, what=What.UNDO_FREEZE), when=WHEN)
    assert {str(v.key) for v in catch_up(shop)} == {KEYS[0]}
    assert verdict(shop).pieces < 41


def test_windows_are_the_same_where_the_store_counts_them(shop, monkeypatch):
    """Past a number of cards the store finds where a window begins; what is judged does not change."""
    put(shop, figures(range(130)))
    monkeypatch.setattr(windows, "MANY_CARDS", 0)
    asked = []
    plainly = shop.store.first_days
    monkeypatch.setattr(shop.store, "first_days", lambda *a, **k: asked.append(a) or plainly(*a, **k))
    assert rejudge(shop).changed == () and asked
    assert verdict(shop).before == 100
    late = figures([390], values=[10.0], days=[LAST - timedelta(days=99)])
    assert put(shop, late) == {KEYS[0]}
    monkeypatch.setattr(windows, "MANY_CARDS", 10_000)
    assert rejudge(shop).changed == ()


def test_a_whole_history_judges_what_it_is_made_of_and_all_with_a_finding(shop, monkeypatch):
    shifted(shop)
    assert {signal.series for signal in shop.store.signals()} == {KEYS[1]}
    monkeypatch.setattr(touched, "MOST_CARDS", 3)
    assert put(shop, figures(range(200, 203))) == {KEYS[0]}, "few cards, and no piece of the finding"
    assert put(shop, figures(range(210, 220))) == set(KEYS)
