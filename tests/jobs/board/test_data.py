"""The board's answers on the sample workshop, against the store asked directly."""

import os
import shutil
from dataclasses import replace
from datetime import date, timedelta

import polars as pl
import pytest

from qc.jobs.backup import backup, backup_note
from qc.jobs.board.data import StoreBoardData
from qc.jobs.board.marks import marks
from qc.jobs.board.rows import report_views
from qc.jobs.board.today import stage_views
from qc.jobs.board.views import SeriesKey, limits_words
from qc.jobs.status import status
from qc.jobs.whole_piece import event_sentence
from qc.jobs.workshop import open_workshop
from qc.sayings import Saying, What
from qc.states import WORST_LIMITS


@pytest.fixture(scope="module")
def board(demo_folder):
    return StoreBoardData(demo_folder)


@pytest.fixture(scope="module")
def workshop(demo_folder):
    return open_workshop(demo_folder)


def test_the_board_says_what_the_status_says(board, workshop):
    said = status(workshop).to_dict()["series"]
    shown = [(str(v.key), v.behaviour, v.pieces) for v in board.verdicts()]
    assert shown == [
        (f"{s['stage']}/{s['characteristic']}/{s['family']}", s["behaviour"], s["pieces"]) for s in said
    ]


def test_worst_comes_first(board):
    worst = [v.worst for v in board.verdicts()]
    assert worst == sorted(worst, reverse=True)


def test_the_route_is_the_plans_order(board, workshop):
    charted = list(dict.fromkeys(stage.id for stage, _, _ in workshop.plan.charted()))
    assert [stage.id for stage in board.stages()] == charted


def test_a_stage_is_as_bad_as_its_worst_series(board):
    for stage in board.stages():
        own = board.verdicts(stage.id)
        assert stage.series == len(own)
        assert stage.moved == sum(v.behaviour == "drifting" for v in own)
        assert (stage.behaviour == "drifting") == (stage.moved > 0)
        if any(v.capable == "no" and v.behaviour != "learning" for v in own):
            assert stage.capable == "no"


def test_a_stage_of_which_nothing_is_measured_is_learning(workshop):
    views = stage_views(workshop.plan, ())
    assert {v.behaviour for v in views} == {"learning"} and {v.pieces for v in views} == {0}
    assert {v.limits for v in views} == {"nothing measured yet"}


def test_a_stage_stands_to_its_limits_as_the_worst_of_its_series(board):
    by_id = {stage.id: stage for stage in board.stages()}
    for stage in by_id.values():
        own = [limits_words(v) for v in board.verdicts(stage.id) if v.behaviour != "learning"]
        assert stage.limits == min(own, key=WORST_LIMITS.index)
    assert by_id["final"].limits == "no limits set"


def test_rules_are_held_against_a_series_of_the_board(board):
    key = board.verdicts("tuning")[0].key
    assert board.rules_on(key, ["beyond-limit"], "textbook").hits
    assert "no such series" in board.rules_on(SeriesKey("a", "b", "c"), [], "textbook").reason
    assert len(board.rules()) == 8 and board.rules_price(["same-side"]) == pytest.approx(511)


def test_today_counts_what_the_store_holds(board, workshop):
    today = board.today()
    assert today.held_rows == len(workshop.store.held()) == len(board.held())
    first = workshop.today.replace(day=1)
    shipped = workshop.store.events("shipped", since=first).filter(pl.col("day") <= workshop.today)
    assert today.shipped == shipped["serial"].n_unique()
    assert today.series == len(board.verdicts())
    assert [str(v.key) for v in today.findings] == [
        str(v.key) for v in board.verdicts() if v.behaviour == "drifting"
    ]
    assert today.cards_in + len(today.cards_missing) == today.cards_expected
    assert today.cards_day <= workshop.today


def test_the_budget_is_said_in_days(board, workshop):
    budget = board.budget()
    assert board.today().budget == budget
    assert budget.days == pytest.approx(30.4375 / workshop.plan.workshop.false_signals_per_month)
    assert budget.series == len(workshop.plan.charted()) and 0 < budget.rate <= 5e-3


def test_gauges_due_are_those_not_checked_and_those_that_run_out_within_two_weeks(board, workshop):
    limit = workshop.today + timedelta(days=14)
    runs_out = {g.id for g in workshop.plan.gauges if g.due and g.due <= limit}
    missed = {g.id for g in board.gauges() if g.missed}
    due = board.today().gauges_due
    assert {d.id for d in due} == runs_out | missed and "BG-1" in missed
    assert due[0].id == "BG-1" and "without a check" in due[0].sentence
    assert all(d.gauge and d.series is None for d in due)


def test_a_series_comes_with_what_the_plan_says(board, workshop):
    key = board.verdicts("tuning")[0].key
    view = board.series(key)
    figure = workshop.plan.characteristic(key.stage, key.characteristic)
    assert view.plain == figure.plain and view.reaction == figure.reaction
    assert view.cautions == workshop.plan.stage("tuning").cautions
    assert {m.id for m in view.models} == {m.id for m in workshop.plan.models}
    assert board.series(SeriesKey("tuning", "none", "all")) is None


def test_every_mark_stands_within_its_series(board):
    found = 0
    for verdict in board.verdicts():
        view = board.series(verdict.key)
        found += len(view.marks)
        assert all(0 < mark.ordinal < len(verdict.points) + 1 for mark in view.marks)
    assert found > 5


def test_what_coincides_with_a_change_is_marked(board):
    for verdict in board.verdicts():
        signal = verdict.current
        if verdict.behaviour == "drifting" and signal.suspects and signal.suspects[0].serial:
            named = " ".join(mark.text for mark in board.series(verdict.key).marks)
            assert signal.suspects[0].name in named, verdict.key


def test_a_series_without_points_has_no_marks(board, workshop):
    assert marks(replace(board.verdicts()[0], points=()), workshop.plan) == ()


def test_signals_come_with_their_state_those_that_wait_first(board, workshop):
    views = board.signals()
    assert len(views) == len(workshop.store.signals())
    waiting = [v.state in {"open", "in-hand"} for v in views]
    assert waiting == sorted(waiting, reverse=True)
    whole = board.signal(views[0].id)
    assert whole is board.signal(views[0].id) and replace(whole, made_under=views[0].made_under) == views[0]
    assert board.signal("none") is None and board.signal("") is None
    # found by its number, by its id as in older addresses, and by the beginning of that
    assert {board.signal(asked).id for asked in (views[0].name, views[0].id[:8])} == {views[0].id}


def test_instruments_are_found_by_a_part_of_the_serial(board):
    every = board.instruments()
    assert every and all(row.state != "part" for row in every)
    days = [row.first_day for row in every]
    assert days == sorted(days, reverse=True)
    serial = every[-1].serial
    assert [row.serial for row in board.instruments(serial.lower())] == [serial]
    assert any(row.state == "part" for row in board.instruments("T-00"))
    assert board.instruments("no such serial") == ()


def test_an_instrument_tells_all_its_readings_parts_and_events(board, workshop):
    serial = next(row.serial for row in board.instruments() if row.state.startswith("shipped"))
    view = board.instrument(serial)
    readings = workshop.store.readings(serials=[serial])
    assert len(view.readings) == readings.height
    assert {r.text for r in view.readings} == set(readings["text"].to_list())
    assert all(r.file and r.row for r in view.readings)
    assert any(event.sentence.startswith("shipped") for event in view.events)
    assert view.charted and all(point.serial == serial for _, point in view.charted)
    assert board.instrument("no such serial") is None


def test_a_part_leads_back_to_its_instrument(board):
    view = next(v for row in board.instruments() if (v := board.instrument(row.serial)).parts)
    role, part = view.parts[0]
    assert (role, view.serial) in board.instrument(part).part_of


def test_held_rows_carry_every_reason_and_the_proposal_in_words(board, workshop):
    stored = {str(row.id): row for row in workshop.store.held()}
    for view in board.held():
        assert view.reasons and all(r.sentence for r in view.reasons)
        assert bool(view.proposal) == bool(stored[view.id].proposal)
        assert "hint" not in view.proposal


def test_sheets_are_listed_newest_first(board, workshop):
    sheets = board.sheets()
    assert [s.sheet for s in sheets] == [s.sheet for s in reversed(workshop.store.sheets())]
    assert sum(s.held for s in sheets) == len(workshop.store.held())


def test_reports_are_found_by_month(board, tmp_path):
    assert [report.month for report in board.reports()] == ["2026-10"]
    assert {path.suffix for path in board.reports()[0].files} == {".pdf", ".html", ".xlsx"}
    assert report_views(tmp_path) == ()


def test_only_folders_named_as_months_are_reports(tmp_path):
    for name in ("2026-10", "2026-09", "notes"):
        (tmp_path / "reports" / name).mkdir(parents=True)
    assert [r.month for r in report_views(tmp_path)] == ["2026-10", "2026-09"]


def test_the_shop_and_who_is_at_work(board, workshop):
    shop = board.shop()
    assert shop.name == workshop.plan.workshop.name and shop.day == workshop.today
    assert [code for code, _ in shop.people] == [
        p.code for p in workshop.plan.people if p.left is None or p.left > shop.day
    ]
    left = [p.code for p in workshop.plan.people if p.left and p.left <= workshop.today]
    assert not set(left) & {code for code, _ in shop.people}


def test_an_answer_is_worked_out_once_while_nothing_changes(board):
    assert board.today() is board.today()
    assert board.signals() is board.signals()


def test_a_change_in_the_store_is_seen_at_once(demo_copy):
    board = StoreBoardData(demo_copy)
    before = board.signals()
    workshop = open_workshop(demo_copy)
    workshop.store.say(before[0].id, Saying(What.IN_HAND, "IS", "on the plate"), when=workshop.now)
    after = board.signal(before[0].id)
    assert after.state == "in-hand" and "on the plate" in after.comments[-1].text
    assert after.comments[-1].who == "IS"


def test_a_changed_plan_is_read_again_and_a_broken_one_is_passed_over(demo_copy):
    board = StoreBoardData(demo_copy)
    plan = demo_copy / "plan.yaml"
    good = plan.read_text("utf-8")
    plan.write_text(good.replace("Quenholt Slide Works", "Quenholt Works"), "utf-8")
    _touch(plan, 5)
    assert board.shop().name == "Quenholt Works"
    plan.write_text("workshop: [", "utf-8")
    _touch(plan, 10)
    assert board.shop().name == "Quenholt Works" and board.verdicts()


def test_the_board_can_stand_on_another_day(demo_copy):
    assert StoreBoardData(demo_copy, date(2026, 11, 10)).shop().day == date(2026, 11, 10)


@pytest.mark.parametrize(
    "row, sentence",
    [
        (
            {"kind": "rework", "code": "dent", "value": 1.5, "unit": "h", "stage": "bell"},
            "rework: dent, 1.5 h, stage bell",
        ),
        ({"kind": "shipped", "person": "IS"}, "shipped, by IS"),
        ({"kind": "returned", "code": "leak", "note": "second time"}, "returned: leak. second time"),
    ],
)
def test_events_are_told_in_words(row, sentence):
    assert event_sentence(row) == sentence


def _touch(path, seconds):
    stamp = path.stat().st_mtime + seconds
    os.utime(path, (stamp, stamp))


def test_an_empty_workshop_is_answered_too(demo_folder, tmp_path):
    shutil.copyfile(demo_folder / "plan.yaml", tmp_path / "plan.yaml")
    board = StoreBoardData(tmp_path)
    assert board.today().findings == () and board.today().held_rows == 0
    assert board.verdicts() == () and board.instruments() == () and board.sheets() == ()
    assert board.today().cards_day == board.shop().day


def test_the_board_reminds_of_a_backup_until_one_is_made(demo_copy, tmp_path):
    workshop = open_workshop(demo_copy)
    late = replace(workshop, now=workshop.now + timedelta(days=30))
    board = StoreBoardData(demo_copy)
    assert board.backup_due() == backup_note(workshop) != ""  # sixteen months old, and none was made yet
    for now in (workshop, late):
        board._workshop = replace(board._workshop, now=now.now)
        assert board.backup_due() == backup_note(now) != ""
        # no entry is added by a backup: what the board keeps between entries would still remind
        backup(now, tmp_path / "disk")
        assert board.backup_due() == ""
    workshop.store.close()
