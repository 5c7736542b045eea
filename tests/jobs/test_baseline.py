import json
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from qc.cli.main import main
from qc.errors import QcError
from qc.jobs.baseline import DECIDED_ALREADY, decide, list_decisions
from qc.jobs.judging.kept import load_verdicts
from qc.jobs.rejudge import rejudge
from qc.sayings import Saying, What

WRAP = "tuning/wrap_f/all"
SAID = {"who": "IS", "why": "the mandrel was the old one"}


def freeze(shop, series, first, last, *, who, why):
    return decide(shop, series, Saying(What.FREEZE, who, why, first=first, last=last))


def leave_out(shop, series, first, last, *, who, why):
    return decide(shop, series, Saying(What.LEAVE_OUT, who, why, first=first, last=last))


def undo(shop, series, *, first="", who, why):
    what = What.UNDO_LEAVE_OUT if first else What.UNDO_FREEZE
    return decide(shop, series, Saying(what, who, why, first=first))


def verdict(workshop, key=WRAP):
    return next(v for v in load_verdicts(workshop) if str(v.key) == key)


def serial(workshop, ordinal, key=WRAP):
    return verdict(workshop, key).points[ordinal - 1].serial


def test_a_frozen_state_is_what_later_pieces_are_compared_with(shop):
    before = verdict(shop)
    last = before.current.start - 1
    done = freeze(shop, WRAP, serial(shop, last - 39), serial(shop, last), **SAID)
    assert done.baseline.who == "IS" and done.behaviour == "drifting"
    now = verdict(shop)
    assert (now.baseline_first, now.baseline_last) == (last - 39, last)
    assert now.current.start == before.current.start
    assert any("Settled state frozen" in note and SAID["why"] in note for note in now.notes)
    assert [one.kind for one in shop.store.entries()][-2:] == ["series", "verdict"]
    assert shop.store.verify() == []


def test_a_frozen_new_level_is_no_drift_and_can_be_undone(shop):
    before = verdict(shop)
    first = before.current.start_serial
    done = freeze(shop, WRAP, first, "", **SAID)
    assert done.behaviour == "steady"
    assert verdict(shop).natural_lower is not None
    assert undo(shop, WRAP, **SAID).behaviour == "drifting"
    assert verdict(shop) == before
    assert [said.what for said in list_decisions(shop).series[0].history] == [What.FREEZE, What.UNDO_FREEZE]


def test_pieces_left_out_are_shown_but_not_judged(shop):
    before = verdict(shop)
    start = before.current.start
    done = leave_out(shop, WRAP, serial(shop, start), serial(shop, before.pieces), **SAID)
    assert done.behaviour == "steady"
    now = verdict(shop)
    assert now.pieces == before.pieces and [p.value for p in now.points] == [p.value for p in before.points]
    assert [p.ordinal for p in now.points if p.left_out] == list(range(start, before.pieces + 1))
    assert now.rests_on < start
    undo(shop, WRAP, first=serial(shop, start), **SAID)
    assert verdict(shop) == before


def test_judging_from_nothing_respects_what_was_decided(shop):
    freeze(shop, WRAP, serial(shop, 20), serial(shop, 60), **SAID)
    leave_out(shop, "tuning/partial_5/all", serial(shop, 5, "tuning/partial_5/all"), "", **SAID)
    freeze(shop, DIE, verdict(shop, DIE).current.start_serial, "", **SAID)  # a line of wear, not a level
    assert rejudge(shop).changed == ()
    assert verdict(shop).baseline_last == 60 and verdict(shop, DIE).behaviour == "steady"


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"series": "tuning/wrap_x/all"}, "no series"),
        ({"first": "QH-9999"}, "is no piece"),
        ({"who": "ZZ"}, "Say who you are"),
        ({"why": " "}, "Say why"),
        ({"last": "first"}, "are no settled state"),
        (
            {"series": "draw/tube_od/tenor", "first": "T-0200", "last": "T-0300"},
            "T-0248 was the first on D-24",
        ),
    ],
)
def test_what_cannot_be_frozen(shop, change, match):
    asked = {"series": WRAP, "first": serial(shop, 20), "last": "", **SAID, **change}
    asked["last"] = asked["first"] if asked["last"] == "first" else asked["last"]
    with pytest.raises(QcError, match=match):
        freeze(shop, **asked)
    assert shop.store.said_of_series() == []


DIE = "draw/tube_od/tenor"


def test_a_line_of_wear_is_frozen_and_undone_like_a_level(shop):
    """The worn die's new line is taken as it is: what follows is held against it, the break is history."""
    before = verdict(shop, DIE)
    assert before.behaviour == "drifting"
    first = before.current.start_serial
    done = freeze(shop, DIE, first, "", **SAID)
    assert done.behaviour == "steady" and done.baseline.first == first
    now = verdict(shop, DIE)
    assert [s.raised_serial for s in now.signals] == [s.raised_serial for s in before.signals]
    assert now.natural_lower is not None
    assert now.natural_lower < now.points[-1].value < now.natural_upper
    assert any("judged about the line through them" in note for note in now.notes)
    assert undo(shop, DIE, **SAID).behaviour == "drifting"
    # a forecast looks ahead from the day it is made: the last card came in on the day before
    assert replace(verdict(shop, DIE), forecast=None, worst=0.0) == replace(before, forecast=None, worst=0.0)


def test_the_break_is_told_beside_a_line_frozen_before_it(shop):
    before = verdict(shop, DIE)
    start = before.current.start
    freeze(shop, DIE, serial(shop, start - 80, DIE), serial(shop, start - 20, DIE), **SAID)
    now = verdict(shop, DIE)
    assert now.behaviour == "drifting" and now.baseline_last == start - 20
    assert abs(now.current.start - start) <= 2
    assert now.current.start > now.baseline_last


def test_a_line_frozen_on_an_earlier_fitting_leaves_the_present_one_alone(shop):
    before = verdict(shop, DIE)
    freeze(shop, DIE, serial(shop, 20, DIE), serial(shop, 60, DIE), **SAID)
    now = verdict(shop, DIE)
    assert now.current == before.current and now.baseline_last is None
    assert any("earlier fitting" in note for note in now.notes)


@pytest.mark.parametrize(("decided", "last"), [(freeze, 60), (leave_out, 22)])
def test_what_is_decided_twice_is_recorded_once_and_told_so(shop, decided, last):
    pieces = serial(shop, 20), serial(shop, last)
    first = decided(shop, WRAP, *pieces, **SAID)
    entries = len(shop.store.entries())
    again = decided(shop, WRAP, *pieces, who="IS", why="said once more")
    assert len(again.history) == 1 and len(shop.store.entries()) == entries
    assert again.to_text() == f"{DECIDED_ALREADY}\n{first.to_text()}"
    assert again.to_dict() == {**first.to_dict(), "already": True}


def test_who_is_no_lead_decides_nothing(shop, demo_copy, capsys):
    before = len(shop.store.entries())
    with pytest.raises(QcError, match="is for the quality lead, IS in the plan, and not for BK"):
        freeze(shop, WRAP, serial(shop, 20), serial(shop, 60), who="BK", why="trial")
    words = ["leave-out", WRAP, "--from", serial(shop, 3), "--who", "BK", "--why", "x"]
    assert main(["baseline", *words, "--workshop", str(demo_copy)]) == 1
    assert "is for the quality lead" in capsys.readouterr().err
    assert len(shop.store.entries()) == before


def test_nothing_to_undo(shop):
    with pytest.raises(QcError, match="Nothing is frozen"):
        undo(shop, WRAP, **SAID)
    with pytest.raises(QcError, match="No stretch left out"):
        undo(shop, WRAP, first="QH-1", **SAID)


def test_what_is_decided_in_the_evening_holds_at_once_far_west_too(shop):
    """Eight hours behind, seven in the evening of the 24th is kept as three in the night of the 25th."""
    shop_west = shop.plan.workshop.model_copy(update={"time_zone": "Etc/GMT+8"})
    west = replace(
        shop,
        plan=shop.plan.model_copy(update={"workshop": shop_west}),
        now=datetime(2026, 11, 25, 3, tzinfo=UTC),
    )
    done = freeze(west, WRAP, serial(shop, 10), serial(shop, 60), **SAID)
    assert done.baseline.day == west.today == date(2026, 11, 24)
    assert verdict(shop).baseline_first == 10


def test_the_command(shop, demo_copy, capsys):
    place = ["--workshop", str(demo_copy), "--json"]
    names = ["--from", serial(shop, 10), "--to", serial(shop, 50), "--who", "IS", "--why", "trial"]
    assert main(["baseline", "freeze", WRAP, *names, *place]) == 0
    assert json.loads(capsys.readouterr().out)["baseline"]["why"] == "trial"
    assert main(["baseline", "leave-out", WRAP, "--from", serial(shop, 3), *names[4:], *place]) == 0
    assert main(["baseline", "undo", WRAP, "--who", "IS", "--why", "over", *place]) == 0
    capsys.readouterr()
    assert main(["baseline", "list", *place]) == 0
    (one,) = json.loads(capsys.readouterr().out)["series"]
    assert one["baseline"] is None and len(one["left_out"]) == 1 and len(one["history"]) == 3
    assert main(["baseline", "list", "--workshop", str(demo_copy)]) == 0
    assert "left out: " in capsys.readouterr().out
    assert main(["baseline", "freeze", WRAP, "--from", "QH-9999", *place]) == 2
