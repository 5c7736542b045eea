from qc.jobs.board_tasks import decide_held, say_signal, take_sheets, warm
from qc.jobs.workshop import open_workshop
from sample_measurements import folder


def test_a_sheet_that_is_known_already_changes_nothing(demo_copy):
    sheet = sorted((folder() / "sheets" / "valves").iterdir())[-1]
    told = []
    receipt = take_sheets(
        demo_copy, None, [(sheet.name, sheet.read_bytes())], "IS", lambda *step: told.append(step)
    )
    (count,) = receipt["sheets"]
    assert count["accepted"] == 0 and count["rows"] == count["held"] + count["already_known"]
    assert told[-1][:2] == (1, 1)


def test_an_accepted_mend_leaves_the_list(demo_copy):
    held = open_workshop(demo_copy).store.held()
    row = next(r["id"] for r in held.iter_rows(named=True) if r["proposal"])
    (said,) = decide_held(demo_copy, None, [str(row)], "proposal", {}, "IS")["mended"]
    assert said["state"] == "accepted" and f"Row {row}" in said["sentence"]
    assert row not in open_workshop(demo_copy).store.held()["id"].to_list()


def test_a_signal_goes_through_its_life_and_keeps_who_said_what(demo_copy):
    signal = open_workshop(demo_copy).store.signals(states=["open"])[0]["id"]
    remark = say_signal(demo_copy, None, signal, {"what": "comment", "text": "Looked at it."}, "IS")
    assert remark["sentence"] == "The remark is kept."
    closing = {"what": "closed", "cause": "unknown", "action": "measured again"}
    assert say_signal(demo_copy, None, signal, closing, "IS")["sentence"] == "The signal is now closed."
    assert "open" in say_signal(demo_copy, None, signal, {"what": "reopened"}, "IS")["sentence"]
    kept = next(s for s in open_workshop(demo_copy).store.signals() if s["id"] == signal)
    assert [(e["what"], e["who"]) for e in kept["events"]] == [
        ("comment", "IS"),
        ("closed", "IS"),
        ("reopened", "IS"),
    ]


def test_warming_loads_the_validation_library():
    import sys

    warm()
    assert "great_expectations" in sys.modules
