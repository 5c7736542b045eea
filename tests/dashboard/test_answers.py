"""What people decide: held rows settled, signals taken through their life, nothing believed unseen."""

import json
from io import BytesIO
from threading import BoundedSemaphore

import pytest

from dashboard import answers
from qc.sayings import Saying, What

HOME = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}


def post(client, path, **form):
    return client.post(path, headers=HOME, data=form)


def test_a_proposal_is_accepted_only_where_there_is_one(client, desk):
    answer = post(client, "/held/decide", rows="1", decision="proposal", who="RA")
    assert answer.get_json() == {"ticket": "m1"}
    assert desk.mended == [(["1"], "proposal", {}, "RA")]
    refused = post(client, "/held/decide", rows="2", decision="proposal", who="RA")
    assert refused.status_code == 400 and "no mend to accept" in refused.get_json()["problem"]


def test_another_value_is_typed_for_a_column_of_the_row(client, desk):
    post(client, "/held/decide", rows="2", decision="by-hand", column="value", value=" 8,0 ", who="KM")
    assert desk.mended == [(["2"], "by-hand", {"value": "8,0"}, "KM")]


@pytest.mark.parametrize(
    "form, said",
    [
        ({"column": "value", "value": " "}, "Type the value"),
        ({"column": "entered_at", "value": "1"}, "Choose what the new value is for"),
        ({"value": "1"}, "Choose what the new value is for"),
    ],
)
def test_a_mend_by_hand_says_what_and_where(client, desk, form, said):
    answer = post(client, "/held/decide", rows="1", decision="by-hand", **form)
    assert answer.status_code == 400 and said in answer.get_json()["problem"]
    assert not desk.mended


@pytest.mark.parametrize("decision", ["as-typed", "drop"])
def test_a_run_is_decided_in_one_go(client, desk, decision):
    assert post(client, "/held/decide", rows="1,2", decision=decision, who="RA").status_code == 200
    assert desk.mended == [(["1", "2"], decision, {}, "RA")]


def test_a_mend_needs_a_name_where_the_plan_lists_people(client, desk):
    answer = post(client, "/held/decide", rows="1", decision="drop")
    assert answer.status_code == 400 and "Choose who decides" in answer.get_json()["problem"]
    assert not desk.mended


def test_the_fields_of_a_row_come_as_elements_of_the_page(client):
    answer = client.get("/held/1/ways", headers=HOME)
    assert answer.get_json()["type"] == "Div" and "Set aside" in answer.text
    assert client.get("/held/99/ways", headers=HOME).status_code == 404


def test_after_a_mend_only_what_changed_is_told(client, desk, monkeypatch):
    mended = [{"row": 9, "sentence": "Row 9 is accepted.", "reasons": []}]
    done = {"state": "done", "done": 1, "of": 1, "message": "", "receipt": {"mended": mended}}
    done["receipt"]["sentence"] = "Row 9 is accepted."
    monkeypatch.setattr(desk, "progress", lambda ticket: done)
    answer = client.get("/held/after/m1?rows=9,1", headers=HOME).get_json()
    assert answer == {
        "said": "Row 9 is accepted.",
        "counted": "Two rows wait for a decision.",
        "gone": ["9"],
        "judged": "",
    }


def test_what_became_of_a_row_comes_with_the_answer_where_the_worker_is_quick(client, desk, monkeypatch):
    mended = [{"row": 1, "sentence": "Row 1 is accepted.", "reasons": []}]
    receipt = {"mended": mended, "sentence": "Row 1 is accepted."}
    done = {"state": "done", "done": 1, "of": 1, "message": "", "receipt": receipt}
    monkeypatch.setattr(desk, "progress", lambda ticket: done)
    desk.quick = True
    answer = post(client, "/held/decide", rows="1", decision="drop", who="RA").get_json()
    assert answer == {
        "ticket": "m1",
        "settled": {
            "said": "Row 1 is accepted.",
            "counted": "Two rows wait for a decision.",
            "gone": [],
            "judged": "",
        },
    }


def test_no_more_requests_wait_for_their_rows_than_leave_room_for_pages(client, desk, monkeypatch):
    desk.quick = True
    monkeypatch.setattr(answers, "_waits", BoundedSemaphore(1))
    answers._waits.acquire()
    assert post(client, "/held/decide", rows="1", decision="drop", who="RA").get_json() == {"ticket": "m1"}
    answers._waits.release()
    assert "settled" in post(client, "/held/decide", rows="1", decision="drop", who="RA").get_json()


def test_what_was_settled_says_that_it_is_not_judged_yet_and_then_that_it_is(client, board):
    board.waits = "Not judged since 3 November 2026, 08:10."
    after = client.get("/held/after/m1?rows=9", headers=HOME).get_json()
    assert (
        after["judged"]
        == "Stored. The charts and signals follow once no further decision comes for a moment."
    )
    assert client.get("/judged", headers=HOME).get_json() == {"waits": True, "said": after["judged"]}
    board.waits = ""
    said = "What was settled is judged: the charts and signals have it."
    assert client.get("/judged", headers=HOME).get_json() == {"waits": False, "said": said}


@pytest.mark.parametrize("rows", ["99", "1,99", "", "../1"])
def test_a_row_that_is_settled_already_is_not_settled_again(client, desk, rows):
    answer = post(client, "/held/decide", rows=rows, decision="drop")
    assert answer.status_code == 404 and "no longer held" in answer.get_json()["problem"]
    assert not desk.mended


def test_an_unknown_decision_is_refused(client, desk):
    assert post(client, "/held/decide", rows="1", decision="delete").status_code == 400
    assert not desk.mended


def test_a_signal_is_closed_with_its_cause_and_what_was_done(client, desk):
    form = {
        "what": "closed",
        "cause": "mandrel",
        "action": "M-7 turned",
        "outcome": "mended",
        "first": "TQ-0430",
        "text": " two\n words ",
        "who": "RA",
    }
    assert post(client, "/signals/s2/say", **form).get_json() == {"ticket": "s1"}
    closing = Saying(What.CLOSED, "RA", "two words", "mandrel", "M-7 turned", "TQ-0430", outcome="mended")
    assert desk.said == [("s2", closing)]
    form["outcome"] = "stays"
    post(client, "/signals/s2/say", **form)
    assert desk.said[1][1].first == "", "a first piece after the mend goes with a mend only"
    refused = post(client, "/signals/s2/say", **{**form, "outcome": ""})
    assert refused.status_code == 400 and "what became of the cause" in refused.get_data(as_text=True)
    assert len(desk.said) == 2


def test_only_a_piece_made_under_the_cause_is_ticked_off(client, desk):
    refused = post(client, "/signals/s2/say", what="piece-done", who="RA", first="TQ-0001")
    assert refused.status_code == 400 and "made under the cause" in refused.get_data(as_text=True)
    assert post(client, "/signals/s2/say", what="piece-done", who="RA", first="").status_code == 400
    assert not desk.said


@pytest.mark.parametrize("what", ["in-hand", "closed-false"])
def test_a_signal_is_taken_in_hand_or_closed_as_false(client, desk, what):
    assert post(client, "/signals/s2/say", what=what, who="KM").status_code == 200
    assert desk.said == [("s2", Saying(What(what), "KM"))]


def test_a_tick_is_taken_back_by_its_step_or_its_piece(client, desk):
    path = "/signals/s0/say"
    assert post(client, path, what="step-undone", who="RA", **{"step-back": "1"}).status_code == 200
    ((about, said),) = desk.said
    assert about == "s0" and said.what is What.STEP_UNDONE and said.text.startswith("1. Re-measure")
    for wrong in ("", "0", "99", "one"):
        refused = post(client, path, what="step-undone", who="RA", **{"step-back": wrong})
        assert refused.status_code == 400 and b"Choose the step" in refused.data
    assert post(client, path, what="piece-undone", who="RA", first="").status_code == 400
    assert len(desk.said) == 1


def test_ticked_steps_are_kept_in_words_and_only_those_of_the_signal(client, desk):
    steps = ["Check serial and unit on the card.", "Compare M-7 with the master mandrel.", "Sell the shop."]
    post(client, "/signals/s0/say", what="comment", who="RA", text="All well.", step=steps)
    text = desk.said[0][1].text
    assert text == f"Ticked: {steps[0]} {steps[1]} All well."


@pytest.mark.parametrize(
    "form, said",
    [
        ({"what": "in-hand"}, "Choose who says it"),
        ({"what": "in-hand", "who": "root"}, "Choose who says it"),
        ({"what": "burnt", "who": "RA"}, "Say what becomes of the signal"),
        ({"what": "closed", "who": "RA", "action": "x"}, "Choose the cause"),
        ({"what": "closed", "who": "RA", "action": "x", "cause": "moon"}, "Choose the cause"),
        ({"what": "closed", "who": "RA", "cause": "mandrel"}, "what was done"),
        ({"what": "reopened", "who": "RA"}, "Only a closed signal"),
        ({"what": "comment", "who": "RA", "text": "  "}, "Write a remark"),
    ],
)
def test_what_cannot_be_said_is_answered_with_what_to_do(client, desk, form, said):
    answer = post(client, "/signals/s2/say", **form)
    assert answer.status_code == 400 and said in answer.get_json()["problem"]
    assert not desk.said


def test_a_signal_that_is_not_there_is_not_spoken_of(client, desk):
    assert post(client, "/signals/none/say", what="in-hand", who="RA").status_code == 404
    assert not desk.said


def test_a_page_shows_its_signal_anew_once_something_was_said(client):
    body = {
        "output": "..signals-said.children...signals-body.children..",
        "outputs": [
            {"id": "signals-said", "property": "children"},
            {"id": "signals-body", "property": "children"},
        ],
        "inputs": [{"id": "signals-done", "property": "data", "value": "s1"}],
        "state": [{"id": "signals-id", "property": "data", "value": "s0"}],
        "changedPropIds": ["signals-done.data"],
    }
    answer = client.post("/_dash-update-component", json=body, headers=HOME).get_json()["response"]
    assert "The signal is now closed." in json.dumps(answer["signals-said"])
    assert "page-title" in json.dumps(answer["signals-body"])


def test_what_is_only_said_is_shown_without_drawing_the_page_again(client, desk, monkeypatch):
    said = {"sentence": "The step is ticked.", "reasons": [], "said_only": True}
    told = {"state": "done", "done": 1, "of": 1, "message": "", "receipt": said}
    monkeypatch.setattr(desk, "progress", lambda ticket: told)

    def shown(*parts):
        body = {
            "output": f"..{'...'.join(f'{part}.children' for part in parts)}..",
            "outputs": [{"id": part, "property": "children"} for part in parts],
            "inputs": [{"id": "signals-done", "property": "data", "value": "s1"}],
            "state": [{"id": "signals-id", "property": "data", "value": "s0"}],
            "changedPropIds": ["signals-done.data"],
        }
        answer = client.post("/_dash-update-component", json=body, headers=HOME)
        return answer.get_json()["response"] if answer.status_code == 200 else {}

    page, beside = ("signals-said", "signals-body"), ("signals-dealt-with", "signals-aside")
    answer = shown(*page)
    assert "The step is ticked." in json.dumps(answer["signals-said"]) and "signals-body" not in answer
    assert "What to do" in json.dumps(shown(*beside)["signals-aside"])
    said["said_only"] = False
    assert "page-title" in json.dumps(shown(*page)["signals-body"])
    assert shown(*beside) == {}


WRAP = "tuning/f-wrap/tenor-bass"


def test_a_lead_freezes_a_state_and_says_why(client, desk):
    form = {
        "series": WRAP,
        "what": "freeze",
        "first": "TQ-0400",
        "last": "TQ-0420",
        "who": "RA",
        "why": "new die",
    }
    assert post(client, "/series/decide", **form).get_json() == {"ticket": "s1"}
    frozen = Saying(What.FREEZE, "RA", "new die", first="TQ-0400", last="TQ-0420")
    assert desk.decided == [(WRAP, frozen)]


def test_undoing_needs_no_piece_that_is_still_shown(client, desk):
    form = {"series": WRAP, "what": "undo-leave-out", "first": "TQ-0001", "last": "", "who": "RA", "why": "x"}
    assert post(client, "/series/decide", **form).status_code == 200
    assert (
        post(client, "/series/decide", series=WRAP, what="undo-freeze", who="RA", why="x").status_code == 200
    )
    assert [said.what for _, said in desk.decided] == [What.UNDO_LEAVE_OUT, What.UNDO_FREEZE]


@pytest.mark.parametrize(
    "form, status, said",
    [
        ({"series": "none"}, 404, "no series of this name"),
        ({"what": "burn"}, 400, "Say what is decided"),
        ({"who": "root"}, 400, "Choose who decides"),
        ({"why": " "}, 400, "Say why"),
        ({"first": ""}, 400, "Name the first piece"),
        ({"what": "undo-leave-out", "first": "", "last": "TQ-0400"}, 400, "Name the first piece"),
        ({"last": "TQ-9998"}, 400, "TQ-9998 is no piece of this series"),
        ({"first": "TQ-9999"}, 400, "TQ-9999 is no piece of this series"),
    ],
)
def test_what_cannot_be_decided_is_answered_with_what_to_do(client, desk, form, status, said):
    whole = {"series": WRAP, "what": "freeze", "first": "TQ-0400", "who": "RA", "why": "new die", **form}
    answer = post(client, "/series/decide", **whole)
    assert answer.status_code == status and said in answer.get_json()["problem"]
    assert not desk.decided


def study(client, name="study.csv", data=b"part,person,value", **form):
    columns = {"value": "bore", "part": "tube", "person": "", **form}
    sent = {**columns, **({"study": (BytesIO(data), name)} if name else {})}
    return client.post("/gauges/study", data=sent, headers=HOME, content_type="multipart/form-data")


def test_a_study_goes_to_the_desk_with_its_columns_and_limits(client, desk):
    answer = study(client, "../bore study.csv", lower="14,03", resolution="0.001")
    assert answer.get_json() == {"ticket": "g1"}
    question = {"value": "bore", "part": "tube", "person": "", "lower": "14.03", "upper": ""}
    assert desk.studied == [(("bore study.csv", b"part,person,value"), {**question, "resolution": "0.001"})]


@pytest.mark.parametrize(
    "form, said",
    [
        ({"name": ""}, "Choose a csv or xlsx file"),
        ({"value": ""}, "Name the column of the reading"),
        ({"upper": "wide"}, "The upper limit has to be a number"),
        ({"resolution": "nan"}, "The step has to be a number"),
    ],
)
def test_a_study_that_cannot_be_is_answered_with_what_to_do(client, desk, form, said):
    answer = study(client, **form)
    assert answer.status_code == 400 and said in answer.get_json()["problem"]
    assert not desk.studied


HELD_BACK = {"serial": "TQ-0410", "what": "release", "figure": "", "who": "RA", "why": "measured again, 10.4"}


def test_a_piece_is_released_or_kept_back_by_name_and_reason(client, desk):
    assert post(client, "/hold/decide", **HELD_BACK).get_json() == {"ticket": "s1"}
    assert post(client, "/hold/decide", **{**HELD_BACK, "what": "keep"}).status_code == 200
    assert desk.pieces == [
        ("TQ-0410", "release", "", "RA", "measured again, 10.4"),
        ("TQ-0410", "keep", "", "RA", "measured again, 10.4"),
    ]


@pytest.mark.parametrize(
    "change, said",
    [
        ({"what": "eaten"}, "released, or kept back"),
        ({"serial": " "}, "by its serial"),
        ({"who": ""}, "Choose who decides"),
        ({"who": "XX"}, "Choose who decides"),
        ({"why": " "}, "Say why"),
    ],
    ids="way serial nobody stranger reason".split(),
)
def test_a_decision_about_a_piece_that_lacks_something_is_refused(client, desk, change, said):
    answer = post(client, "/hold/decide", **{**HELD_BACK, **change})
    assert answer.status_code == 400 and said in answer.get_data(as_text=True)
    assert desk.pieces == []


def test_a_month_is_written_when_it_is_one_of_the_list(client, desk):
    assert post(client, "/month/write", month="2026-11").get_json() == {"ticket": "s1"}
    assert post(client, "/month/write", month="2026-09").status_code == 200
    for other in ("2026-12", "2025-11", "", "../x"):
        assert post(client, "/month/write", month=other).status_code == 400
    assert desk.written == ["2026-11", "2026-09"]


def test_the_month_so_far_is_looked_at_before_it_is_written(client):
    answer = client.get("/month/preview", headers=HOME)
    assert answer.mimetype == "text/html" and "the month so far" in answer.text


def hear(client, name="notes.wav", **form):
    sent = {"serial": "TQ-0442", **form, **({"wav": (BytesIO(b"RIFF"), name)} if name else {})}
    return client.post("/remedies/recording", data=sent, headers=HOME, content_type="multipart/form-data")


def test_a_recording_goes_to_the_desk_with_its_piece(client, desk):
    assert hear(client, "../bench/notes.wav").get_json() == {"ticket": "h1"}
    assert desk.heard == [(("notes.wav", b"RIFF"), "TQ-0442")]


@pytest.mark.parametrize(
    ("form", "said"), [({"name": ""}, "record the notes here first"), ({"serial": " "}, "of one piece")]
)
def test_a_recording_that_cannot_be_heard_is_answered_with_what_to_do(client, desk, form, said):
    answer = hear(client, **form)
    assert answer.status_code == 400 and said in answer.get_json()["problem"]
    assert not desk.heard
