"""The routes by which readings are put right and decisions undone: what they take, and what they ask for."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from dashboard.pages.decided import held_filter, those_chosen

HOME = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}
WRONG = {
    "reading": "31",
    "column": "value",
    "value": "14.05",
    "do": "put-right",
    "who": "KM",
    "why": "misread",
}


def test_a_reading_is_put_right_with_who_and_why(client, desk):
    assert client.post("/readings/correct", headers=HOME, data=WRONG).status_code == 200
    assert desk.corrected == [("31", {"value": "14.05"}, "KM", "misread", False)]
    client.post("/readings/correct", headers=HOME, data={**WRONG, "do": "sure"})
    assert desk.corrected[-1][-1] is True


def test_a_reading_is_taken_back_whatever_stands_in_the_other_fields(client, desk):
    client.post("/readings/correct", headers=HOME, data={**WRONG, "do": "take-back"})
    assert desk.corrected == [("31", {}, "KM", "misread", False)]


@pytest.mark.parametrize(
    "change, said",
    [
        ({"who": ""}, "Choose who says it"),
        ({"who": "nobody at work"}, "Choose who says it"),
        ({"why": "  "}, "Say why"),
        ({"value": ""}, "Type what it should say"),
        ({"column": "text"}, "Type what it should say"),
        ({"reading": "31; 32"}, "Say which reading"),
    ],
)
def test_what_is_missing_is_said_and_nothing_is_queued(client, desk, change, said):
    answer = client.post("/readings/correct", headers=HOME, data={**WRONG, **change})
    assert answer.status_code == 400 and answer.json["problem"].startswith(said)
    assert desk.corrected == []


def test_the_form_of_a_reading_names_nobody_beforehand(client):
    form = client.get("/readings/31/ways").data.decode()
    assert '"choose a name"' in form and "Take back" in form and "/readings/correct" in form


def test_a_decision_is_undone_with_who_and_why(client, desk):
    listed = client.get("/held/decided").data.decode()
    assert "TQ-0441, Thickness" in listed and "set aside by KM" in listed
    answer = client.post("/held/undo", headers=HOME, data={"undone": "7", "who": "KM", "why": "it was good"})
    assert answer.status_code == 200 and desk.undone == [(["7"], "KM", "it was good")]
    refused = client.post("/held/undo", headers=HOME, data={"undone": "7", "who": "KM"})
    assert refused.status_code == 400 and refused.json["problem"].startswith("Say why")
    assert (
        client.post("/held/undo", headers=HOME, data={"undone": "", "who": "KM", "why": "x"}).status_code
        == 400
    )
    assert len(desk.undone) == 1


def test_only_the_first_of_alike_rows_is_accepted_when_asked_for(client, desk):
    client.post("/held/decide", headers=HOME, data={"rows": "1", "decision": "proposal-first", "who": "KM"})
    assert desk.mended == [(["1"], "proposal", {}, "KM")]


def test_held_rows_are_chosen_by_bench_sheet_reason_and_age(board):

    now = datetime(2026, 11, 24, 12, tzinfo=UTC)
    one, two = board.held()
    one = replace(one, card="Slide card", entered=now - timedelta(hours=3))
    two = replace(two, card="Lacquer card", entered=now - timedelta(days=40))

    def chosen(**wanted):
        fits = those_chosen((one, two), {name: [value] for name, value in wanted.items()}, now)
        return [row.id for row in fits]

    assert chosen() == chosen(card="", age="") == ["1", "2"]
    assert chosen(card="Lacquer card") == ["2"]
    assert chosen(file="slide_0442.xlsx") == ["1"]
    assert chosen(reason="decimal-slip") == ["1"]
    assert chosen(age="1") == ["1"] and chosen(age="-31") == ["2"]
    assert chosen(card="Slide card", age="-31") == []
    assert "Lacquer card" in json.dumps(held_filter((one, two)), default=lambda part: part.to_plotly_json())


def test_a_sheet_that_waits_for_its_layout_is_put_away_by_name_and_reason(client, desk):
    sheet = "cd" * 32
    unsaid = client.post("/sheets/put-away", headers=HOME, data=dict(sheet=sheet, who="RA"))
    assert unsaid.status_code == 400 and "Say why" in unsaid.get_json()["problem"]
    nobody = client.post("/sheets/put-away", headers=HOME, data=dict(sheet=sheet, why="typed anew"))
    assert nobody.status_code == 400 and "Choose who says it" in nobody.get_json()["problem"]
    gone = client.post(
        "/sheets/put-away", headers=HOME, data=dict(sheet="ab" * 32, who="RA", why="typed anew")
    )
    assert gone.status_code == 400 and "waits no more" in gone.get_json()["problem"]
    assert not desk.put
    assert (
        client.post(
            "/sheets/put-away", headers=HOME, data=dict(sheet=sheet, who="RA", why="typed anew")
        ).status_code
        == 200
    )
    assert desk.put == [(sheet, "RA", "typed anew")]
