"""What passes a stage at the first go: counted by hand on small invented records."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from qc.plan import Card, Characteristic, DatedLimits, Plan, Shop, Stage
from qc.watch import play_test_stage, rework_causes, rolled, sources_of, stage_yield
from qc.watch.pieces import first_pass

MAY = (date(2026, 5, 1), date(2026, 5, 31))
JUNE = (date(2026, 6, 1), date(2026, 6, 30))
RUN = Characteristic(id="run", name="Run-out", unit="um", limits=(DatedLimits(upper=20),))
SEEN = Characteristic(id="seen", name="Seam", unit="fault", kind="pass-fail")
COAT = Characteristic(
    id="coat",
    name="Coat",
    unit="um",
    places={"spot": ("1", "2", "3")},
    limits=(DatedLimits(target=15, lower=10),),
    decides="mean",
)
STAGE = Stage(id="bell", name="Bell", characteristics=(RUN, SEEN, COAT))
PLAN = Plan(workshop=Shop(name="Osier Bend"), models=(), stages=(STAGE,))


def day(number, month=5):
    return date(2026, month, number)


@pytest.fixture
def ask(readings, events):
    """Return a function that asks for the yield of the stage, from (serial, figure, value, day, ...)."""

    def asked(rows, happened=(), days=MAY, plan=PLAN, stage=("bell", "Bell")):
        base = {"stage": "bell", "model": "", "repeat": 1}
        table = readings(
            [
                {**base, "serial": s, "characteristic": c, "value": float(v), "day": d, **more}
                for s, c, v, d, *rest in rows
                for more in [rest[0] if rest else {}]
            ]
        )
        figures = {
            sources_of(one): table.filter(pl.col("characteristic").is_in(sources_of(one)))
            for one in STAGE.characteristics
        }
        came = dict(table.group_by("serial").agg(pl.col("day").min()).iter_rows())
        told = events([{"stage": "bell", "code": "", **one} for one in happened])
        return stage_yield(plan, stage, figures, came, told, days)

    return asked


def test_the_three_things_that_speak_against_a_piece(ask):
    rows = [(f"A{n}", "run", 12, day(n)) for n in range(1, 7)]
    rows += [("A2", "seen", 1, day(2)), ("A3", "seen", 0, day(3)), ("A4", "run", 25, day(9))]
    found = ask(rows, [{"kind": "rework", "serial": "A5", "code": "bent-rim", "value": 1.5, "day": day(6)}])
    assert (found.passed, found.of) == (3, 6)
    assert [(one.serial, one.day, one.why) for one in found.failed] == [
        ("A2", day(2), "seam: not passed"),
        ("A5", day(6), "reworked: bent rim"),
        ("A4", day(9), "Run-out 25 µm, over 20 µm"),
    ]
    assert found.to_dict()["share"] == 0.5


def test_mended_and_read_again_is_no_first_go(ask):
    rows = [("A1", "run", 30, day(4)), ("A1", "run", 11, day(5)), ("A2", "run", 11, day(5))]
    found = ask(rows)
    assert (found.passed, found.of, found.failed[0].day) == (1, 2, day(4))


def test_on_the_limit_is_inside_and_a_second_fault_counts_once(ask):
    rows = [("A1", "run", 20, day(4)), ("A2", "run", 21, day(4)), ("A2", "seen", 1, day(4))]
    found = ask(rows)
    assert (found.passed, found.of, len(found.failed)) == (1, 2, 1)


def test_each_failure_is_counted_in_the_month_it_came_up(ask):
    """Read inside in May and reworked in June: passed in May, failed in June, and not again in July."""
    rows = [("A1", "run", 10, day(28)), ("A2", "run", 10, day(28)), ("A3", "run", 9, day(2, 6))]
    rows += [("A1", "run", 8, day(3, 7))]
    again = [{"kind": "rework", "serial": "A1", "code": "dent", "value": 1, "day": day(4, 6)}]
    assert (ask(rows, again).passed, ask(rows, again).of) == (2, 2)
    june = ask(rows, again, JUNE)
    assert (june.passed, june.of) == (1, 2)
    assert ask(rows, again, (day(1, 7), day(31, 7))) is None


def test_a_piece_that_failed_before_and_fails_again_is_told_once(ask):
    rows = [("A1", "run", 30, day(30)), ("A1", "run", 30, day(2, 6)), ("A2", "run", 9, day(2, 6))]
    june = ask(rows, days=JUNE)
    assert (june.passed, june.of) == (1, 1)


def test_reworked_without_a_card_of_the_stage_came_to_it(ask):
    found = ask([], [{"kind": "rework", "serial": "A1", "code": None, "value": 2, "day": day(3)}])
    assert (found.passed, found.of, found.failed[0].why) == (0, 1, "reworked, no cause given")


def test_rework_of_no_stage_and_of_another_speaks_against_nobody(ask):
    rows = [("A1", "run", 10, day(3))]
    others = [
        {"kind": "rework", "serial": "A1", "value": 2, "day": day(3), "stage": None},
        {"kind": "rework", "serial": "A1", "value": 2, "day": day(3), "stage": "slide"},
        {"kind": "part", "serial": "A1", "subject": "T1", "day": day(3)},
    ]
    assert ask(rows, others).passed == 1


def test_a_mean_is_judged_once_its_card_is_full(ask):
    """The first spot alone would be under the limit; the card of two days is inside."""
    rows = [("A1", "coat", um, day(3 + n // 2), {"spot": n + 1}) for n, um in enumerate((8, 14, 15))]
    assert ask(rows).passed == 1
    assert ask([(*one[:2], one[2] - 4, *one[3:]) for one in rows]).passed == 0


def test_nothing_came(ask):
    assert ask([]) is None
    assert rolled(()) is None


def test_verdicts_stand_at_the_stage_of_their_card(ask):
    tests = [
        {"kind": "play-test", "serial": "A1", "code": "pass", "day": day(3), "stage": None},
        {"kind": "play-test", "serial": "A2", "code": "reject", "day": day(3), "stage": None},
    ]
    assert play_test_stage(PLAN) == ("play-test", "Play-test")
    assert ask([], tests) is None
    own = ask([], tests, stage=("play-test", "Play-test"))
    assert (own.passed, own.of, own.failed[0].why) == (1, 2, "verdict: reject")
    card = Card(id="p", title="Played", source="bench", stage="bell", event="play-test")
    there = ask([], tests, plan=PLAN.model_copy(update={"cards": (card,)}))
    assert (there.passed, there.of) == (1, 2)


def test_few_pieces_are_said_to_be_few(ask):
    rows = [(f"A{n}", "run", 10, day(n)) for n in range(1, 11)]
    assert not ask(rows).few and ask(rows[:9]).few


def test_rework_by_cause_adds_up(events):
    rows = [("dent", 0.1, "A1"), ("dent", 0.2, "A1"), ("", 0.3, "A2"), ("run", 1.2, "A3"), ("run", 0.2, "A1")]
    made = events(
        [
            {"kind": "rework", "code": code, "value": hours, "serial": serial, "day": day(1)}
            for code, hours, serial in rows
        ]
    )
    found = rework_causes(made)
    assert [(one.name, one.hours, one.pieces) for one in found] == [
        ("run", 1.4, 2),
        ("no cause given", 0.3, 1),
        ("dent", 0.3, 1),
    ]
    assert sum(one.share for one in found) == pytest.approx(1, abs=1e-12)
    assert [round(one.cumulative, 4) for one in found] == [0.7, 0.85, 1.0]
    assert rework_causes(made.filter(pl.col("code") == "none of it")) == ()


def test_rework_of_no_hours_has_no_shares(events):
    made = events([{"kind": "rework", "code": "dent", "value": 0.0, "serial": "A1", "day": day(1)}])
    assert [(one.hours, one.share) for one in rework_causes(made)] == [(0.0, 0.0)]


def test_many_pieces_cost_no_more_than_their_readings(ask):
    """A piece of one day is judged once, whatever the number of days on which others were read."""
    rows = [
        (f"A{n:03d}", "run", 10 + (n % 20 == 0) * 20, day(1) + timedelta(days=n % 28)) for n in range(300)
    ]
    found = ask(rows)
    assert (found.passed, found.of) == (285, 300)


@pytest.mark.parametrize("seed", range(6))
def test_the_glance_at_the_tightest_limits_changes_no_yield(ask, monkeypatch, seed):
    """Figures by place, by their mean and by their own limits, near the limits and on them."""
    rng = np.random.default_rng(810 + seed)
    rows = []
    for n in range(8):
        for when in (day(2 + n), day(20)):
            rows.append((f"A{n}", "run", rng.choice([12.0, 19.9, 20.0, 20.0 + seed / 50]), when))
            spots = rng.normal(10.0 + 0.4 * seed, 0.6, 3)
            rows += [(f"A{n}", "coat", v, when, {"spot": s}) for s, v in zip("123", spots, strict=True)]
    found = ask(rows)
    with monkeypatch.context() as patched:
        patched.setattr(first_pass, "_all_inside", lambda *_: False)
        assert ask(rows) == found
