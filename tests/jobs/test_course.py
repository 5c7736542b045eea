"""Whatever a workshop goes through, judging on says what judging from nothing says, bit for bit."""

import json
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from qc.jobs.judging import verdicts as judging
from qc.jobs.judging import windows
from qc.jobs.judging.catching_up import catch_up
from qc.jobs.judging.verdicts import judge_now, keep_judged
from qc.jobs.rejudge import rejudge
from qc.jobs.workshop import open_workshop
from qc.plan import EVENT, READING
from qc.sayings import Saying, What
from qc.stats.change import resume
from qc.store import NewSheet, sheet_hash

PLAN = """
workshop: {name: Reed Lane Works, time_zone: UTC, today: 2026-11-24, false_signals_per_month: 0.5}
models:
  - {id: tenor, name: Tenor, family: tenor, pedal_midi: 34, length_mm: 2931.6}
  - {id: bass, name: Bass, family: bass, pedal_midi: 34, length_mm: 2931.6}
people: [{code: IS}, {code: AB}]
tools: [{id: D-1, name: Die, tool_class: die, fitted: 2026-01-01}]
cards: [{id: trial, title: Trial card, source: bench, stage: s0, characteristics: [level]}]
stages:
  - id: s0
    name: First
    characteristics:
      - {id: level, name: Level, unit: mm, pool: all}
      - {id: wide, name: Width, unit: mm, shape: positive}
  - id: s1
    name: Second
    characteristics:
      - {id: free, name: Free, unit: mm, pool: all, shape: any}
      - {id: flaws, name: Flaws, unit: count, kind: count, pool: all}
      - {id: tight, name: Tightness, unit: pass, kind: pass-fail, pool: all}
      - {id: worn, name: Worn, unit: mm, pool: all, wears_with: die}
"""
FIGURES = {"level": "s0", "wide": "s0", "free": "s1", "flaws": "s1", "tight": "s1", "worn": "s1"}
KINDS = {"str": pl.String, "int": pl.Int64, "float": pl.Float64, "bool": pl.Boolean, "date": pl.Date}
KINDS["datetime"] = pl.Datetime("us", "UTC")
FIRST, TODAY = date(2026, 6, 1), date(2026, 11, 24)
WHEN = datetime(2026, 11, 24, 12, tzinfo=UTC)


def frame(rows, columns):
    schema = {name: KINDS[kind] for name, kind in columns.items()}
    return pl.DataFrame([{n: row.get(n) for n in columns} for row in rows], schema=schema)


class Life:
    """A workshop that measures, corrects, measures late, freezes and leaves out."""

    def __init__(self, workshop, seed):
        self.workshop, self.draw = workshop, np.random.default_rng(seed)
        self.made, self.level = 0, 10.0

    def value(self, figure):
        noise = float(self.draw.normal())
        if figure in {"flaws", "tight"}:
            return (
                float(self.draw.poisson(0.4 if self.level < 12 else 3.0))
                if figure == "flaws"
                else (float(self.draw.random() < (0.1 if self.level < 12 else 0.8)))
            )
        drift = 0.02 * self.made if figure == "worn" else 0.0
        return round(max(self.level + noise + drift, 0.1), 2)

    def piece(self, number, day, share=0.9):
        moment = datetime(day.year, day.month, day.day, tzinfo=UTC)
        return [
            {
                **{"serial": f"R-{number:04d}", "day": day, "measured_at": moment, "has_time": False},
                **{"stage": stage, "characteristic": figure, "value": self.value(figure), "unit": "mm"},
                **{"model": "tenor" if number % 3 else "bass", "row": number, "person": "IS"},
                **({"tool": "D-1", "tool_count": number} if figure == "worn" else {}),
            }
            for figure, stage in FIGURES.items()
            if self.draw.random() < share
        ]

    def put(self, readings):
        data = json.dumps(str(readings)).encode()
        frames = {"readings": frame(readings, READING), "events": frame([], EVENT), "held": pl.DataFrame()}
        sheet = NewSheet("x.csv", sheet_hash(data), data, "trial", **frames)
        self.workshop.store.add_sheets([sheet], who="IS", when=WHEN)
        catch_up(self.workshop)

    def day(self):
        return min(FIRST + timedelta(days=self.made // 2), TODAY)

    def append(self):
        if self.draw.random() < 0.3:
            self.level = 13.0 if self.level < 12 else 10.0
        rows = []
        for _ in range(int(self.draw.integers(1, 25))):
            self.made += 1
            rows += self.piece(self.made, self.day())
        self.put(rows)

    def late(self):
        self.made += 1
        self.put(self.piece(self.made, FIRST + timedelta(days=int(self.draw.integers(self.made // 2 + 1)))))

    def correct(self):
        rows = self.workshop.store.readings(characteristics=["level"])
        old = rows.row(int(self.draw.integers(rows.height)), named=True)
        row = rows.filter(pl.col("id") == old["id"]).drop("id").with_columns(value=pl.lit(11.11))
        self.workshop.store.replace_reading(old["id"], row, who="IS", when=WHEN, why="typed wrong")
        catch_up(self.workshop)

    def decide(self):
        kept = self.workshop.store.verdicts(series=["s0/level/all"])[0].serials
        first = int(self.draw.integers(len(kept)))
        last = min(first + int(self.draw.integers(3, 30)), len(kept) - 1)
        what = str(self.draw.choice(["freeze", "undo-freeze", "leave-out", "undo-leave-out"]))
        said = Saying(What(what), "IS", "x", first=kept[first], last=kept[last])
        self.workshop.store.say("s0/level/all", said, when=WHEN)
        assert {str(v.key) for v in catch_up(self.workshop)} == {"s0/level/all"}

    def move_on(self):
        moves = [self.append, self.append, self.append, self.late, self.correct, self.decide]
        (self.append if self.made < 8 else moves[self.draw.integers(len(moves))])()


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.setattr(windows, "STEP", 30)
    monkeypatch.setattr(resume, "SPACING", 10)
    (tmp_path / "plan.yaml").write_text(PLAN, "utf-8")
    workshop = open_workshop(tmp_path)
    yield workshop
    workshop.store.close()


def verdicts(workshop):
    return {v.series: v.plain for v in workshop.store.verdicts()}


def courses(workshop):
    keys = [f"course {key}" for key in verdicts(workshop)]
    return workshop.store.states(keys)


def judge_all(shop):
    """Judge every series further, from what was kept of it."""
    keep_judged(shop, judge_now(shop), {})


@pytest.mark.parametrize("seed", range(3))
def test_random_lives_come_out_as_judged_from_nothing(shop, seed):
    life = Life(shop, seed)
    raised = 0
    for step in range(16):
        life.move_on()
        if step % 4 == 3:
            judge_all(shop)  # words that tell the day move on with it
            before, kept = verdicts(shop), courses(shop)
            assert rejudge(shop).changed == ()
            assert verdicts(shop) == before
            assert all(kept[key] == course for key, course in courses(shop).items() if "level" not in key)
            raised += sum(len(v["signals"]) for v in before.values())
    assert raised and len(courses(shop)) == 7


def test_an_upload_judges_only_the_new_points(shop, monkeypatch):
    life = Life(shop, 1)
    while life.made < 50:
        life.append()
    fed = []
    whole = resume.DetectorState.add
    monkeypatch.setattr(
        resume.DetectorState,
        "add",
        lambda state, value, **beside: (fed.append(beside["label"]), whole(state, value, **beside)),
    )
    life.made += 1
    card = life.piece(life.made, life.day(), share=1.0)
    life.put([row for row in card if row["characteristic"] == "level"])
    assert fed == [f"R-{life.made:04d}"]
    rejudge(shop)
    assert len(fed) > 100


class Killed(Exception):
    """The program ends here."""


@pytest.mark.parametrize("seed", range(2))
def test_killed_at_any_write_the_next_judging_makes_it_good(shop, seed, monkeypatch):
    life = Life(shop, seed)
    whole = shop.store._database.__class__.writing

    def dying(after):
        left = [after]

        def writing(database):
            left[0] -= 1
            if left[0] < 0:
                raise Killed
            return whole(database)

        return writing

    for after in (1, 2, 3, 0, 4, 2):
        with monkeypatch.context() as end:
            end.setattr(shop.store._database.__class__, "writing", dying(after))
            try:
                life.append()
            except Killed:
                pass
        catch_up(shop)
        judge_all(shop)
        before = verdicts(shop)
        assert rejudge(shop).changed == ()
        assert verdicts(shop) == before


def test_killed_while_everything_is_judged_anew_the_verdicts_stand(shop, monkeypatch):
    Life(shop, 5).append()
    before = verdicts(shop)
    monkeypatch.setattr(judging, "judge_further", lambda *_: (_ for _ in ()).throw(Killed))
    with pytest.raises(Killed):
        rejudge(shop)
    assert before and verdicts(shop) == before
