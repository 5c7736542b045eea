from dataclasses import replace

import pytest

from qc.errors import QcError
from qc.ingest import SheetError
from qc.jobs.board.tasks import (
    decide_held,
    decide_series,
    opened,
    say_signal,
    study_file,
    take_sheets,
    warm_for_large_sheets,
)
from qc.jobs.errors import JobError
from qc.jobs.questions.gauge import gauge_study
from qc.jobs.rows import list_held
from qc.jobs.signals import find_signal
from qc.jobs.workshop import open_workshop
from qc.sayings import Saying, What
from sample_measurements import folder


def do(task, folder, *what):
    with opened(folder, None) as workshop:
        return task(workshop, *what)


def test_a_sheet_that_is_known_already_changes_nothing(demo_copy):
    sheet = sorted((folder() / "sheets" / "valves").iterdir())[-1]
    told = []
    receipt = do(take_sheets, demo_copy, [(sheet.name, sheet)], "IS", lambda *step: told.append(step))
    (count,) = receipt["sheets"]
    assert count["accepted"] == 0 and count["rows"] == count["held"] + count["already_known"]
    assert told[-1][:2] == (1, 1)


def test_an_accepted_mend_leaves_the_list(demo_copy):
    held = open_workshop(demo_copy).store.held()
    row = next(r.id for r in held if r.proposal)
    (said,) = do(decide_held, demo_copy, [str(row)], "proposal", {}, "IS")["mended"]
    assert said["state"] == "accepted" and f"Row {row}" in said["sentence"]
    assert row not in [r.id for r in open_workshop(demo_copy).store.held()]


def test_how_far_a_run_of_rows_has_come_is_told_every_five_rows(demo_copy):
    rows = [str(row.id) for row in open_workshop(demo_copy).store.held()][:7]
    told = []
    do(decide_held, demo_copy, rows, "drop", {}, "IS", lambda *step: told.append(step))
    assert told == [(5, 7, "Settling row"), (7, 7, "Settling row")]


def test_a_run_is_told_in_one_line_and_what_is_still_held_by_kind(demo_copy):
    groups = list_held(open_workshop(demo_copy)).groups()
    run = [str(row.id) for row in max(groups, key=lambda group: len(group.rows)).rows]
    said = do(decide_held, demo_copy, run[:3], "as-typed", {}, "IS")
    assert said["sentence"] == "3 rows are accepted." and len(said["mended"]) == 3
    said = do(decide_held, demo_copy, run[3:6], "by-hand", {"day": "2031-01-05"}, "IS")
    assert said["sentence"].startswith("None of the 3 rows is accepted; all are still held: ")
    assert "future date (3)" in said["sentence"]
    assert do(decide_held, demo_copy, run[3:5], "drop", {}, "IS")["sentence"] == (
        "2 rows are set aside; they stay on record as typed."
    )


@pytest.mark.parametrize("bad", [b"PK\x03\x04 cut off", b"\x00\xff" * 40, b"no card;1\n"])
def test_between_two_good_sheets_a_broken_one_costs_only_itself(demo_copy, tmp_path, bad):
    good = [CARD.format(n) for n in (1, 2)]
    given = []
    for name, data in [("a.csv", good[0].encode()), ("bad.xlsx", bad), ("z.csv", good[1].encode())]:
        (tmp_path / name).write_bytes(data)
        given.append((name, tmp_path / name))
    receipt = do(take_sheets, demo_copy, given, "IS", lambda *step: None)
    assert [sheet["file"] for sheet in receipt["sheets"]] == ["a.csv", "z.csv"]
    assert [sheet["rows"] for sheet in receipt["sheets"]] == [1, 1]
    (refused,) = receipt["refused"]
    assert refused.startswith("bad.xlsx")


CARD = """Card,Slide force card
Gauge,SB-1

Date,Serial,Model,Person,Slide force [N]
2026-11-09,QH-190{},tenor,FN,1.02
"""


def signal_steps(folder, signal):
    return find_signal(open_workshop(folder), signal).steps


def test_a_signal_goes_through_its_life_and_keeps_who_said_what(demo_copy):
    signal = open_workshop(demo_copy).store.signals(states=["open"])[0].id
    remark = do(say_signal, demo_copy, signal, Saying(What.COMMENT, "IS", "Looked at it."))
    again = do(say_signal, demo_copy, signal, Saying(What.COMMENT, "IS", "Looked at it."))
    assert "stands already" in again["sentence"]
    assert (remark["sentence"], remark["said_only"]) == ("The remark is kept.", True)
    first = next(iter(signal_steps(demo_copy, signal)))
    ticked = do(say_signal, demo_copy, signal, Saying(What.STEP_DONE, "IS", f"1. {first}"))
    back = do(say_signal, demo_copy, signal, Saying(What.STEP_UNDONE, "IS", f"1. {first}"))
    assert (ticked["sentence"], back["sentence"]) == ("The step is ticked.", "The tick is taken back.")
    closing = Saying(What.CLOSED, "IS", cause="unknown", action="measured again", outcome="stays")
    assert do(say_signal, demo_copy, signal, closing)["sentence"] == "The signal is now closed."
    assert "open" in do(say_signal, demo_copy, signal, Saying(What.REOPENED, "IS"))["sentence"]
    kept = next(s for s in open_workshop(demo_copy).store.signals() if s.id == signal)
    assert [(said.what, said.who) for said in kept.said] == [
        ("comment", "IS"),
        ("step-done", "IS"),
        ("step-undone", "IS"),
        ("closed", "IS"),
        ("reopened", "IS"),
    ]


FORCE = "slide/force/all"


def test_a_lead_decides_about_a_series_and_undoes_it(demo_copy):
    serials = open_workshop(demo_copy).store.verdicts(series=[FORCE])[0].serials
    frozen = Saying(What.FREEZE, "IS", "settled", first=serials[0], last=serials[40])
    sentence = do(decide_series, demo_copy, FORCE, frozen)["sentence"]
    assert "stands already" in do(decide_series, demo_copy, FORCE, frozen)["sentence"]
    assert sentence.startswith("Kept. Slide: Slide force")
    left = Saying(What.LEAVE_OUT, "IS", "test piece", first=serials[0])
    do(decide_series, demo_copy, FORCE, left)
    do(decide_series, demo_copy, FORCE, replace(left, what=What.UNDO_LEAVE_OUT, last=serials[0]))
    do(decide_series, demo_copy, FORCE, replace(frozen, what=What.UNDO_FREEZE))
    said = [one.what for one in open_workshop(demo_copy).store.said_of_series(FORCE)]
    assert said == ["freeze", "leave-out", "undo-leave-out", "undo-freeze"]
    with pytest.raises(QcError, match="Nothing is frozen"):
        do(decide_series, demo_copy, FORCE, replace(frozen, what=What.UNDO_FREEZE))


QUESTION = {
    "value": "value",
    "part": "part",
    "person": "person",
    "lower": "1",
    "upper": "9",
    "resolution": "",
}


def study_bytes():
    rows = [
        f"P{part},{who},{5 + part / 2 + shift + repeat / 10:.2f}"
        for part in range(5)
        for who, shift in (("A", 0.0), ("B", 0.05))
        for repeat in range(2)
    ]
    return "\n".join(["part,person,value", *rows]).encode()


def test_a_gauge_study_is_the_commands_answer_and_stores_nothing(tmp_path):
    sent = tmp_path / "x.csv"
    sent.write_bytes(study_bytes())
    found = study_file(("../x y.csv", sent), QUESTION)
    command = gauge_study(sent, "value", "part", "person", lower=1.0, upper=9.0)
    assert found == {"study": command.to_dict(), "file": "../x y.csv", "value": "value"}
    alone = study_file(("x.csv", sent), {**QUESTION, "person": ""})
    assert alone["study"]["design"] == "one-person"


def test_a_study_that_cannot_be_names_the_file_as_it_was_sent(tmp_path):
    def sent(data):
        (tmp_path / "sent").write_bytes(data)
        return tmp_path / "sent"

    with pytest.raises(JobError, match=r"^my bore.csv: there is no column 'bore'; there are 'part'"):
        study_file(("my bore.csv", sent(study_bytes())), {**QUESTION, "value": "bore"})
    with pytest.raises(SheetError, match="not a sheet"):
        study_file(("photo.csv", sent(b"%PDF-1.7 nothing")), QUESTION)
    with pytest.raises(SheetError, match="damaged"):
        study_file(("x.xlsx", sent(b"PK\x03\x04 cut short")), QUESTION)


def test_warming_loads_the_validation_library():
    import sys

    warm_for_large_sheets()
    assert "great_expectations" in sys.modules
