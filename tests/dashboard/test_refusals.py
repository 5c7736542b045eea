"""What people decide through the board as it is, its store and its worker: a refusal is told on the page."""

import json
import threading
import time

import pytest

from dashboard import queries
from dashboard.app import create_app
from qc.jobs.workshop import open_workshop

HOME = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}
FORCE = "slide/force/all"


@pytest.fixture
def server(demo_copy):
    made = create_app(demo_copy).server
    yield made
    made.config[queries.DESK_KEY].close()


@pytest.fixture
def store(demo_copy):
    with open_workshop(demo_copy).store as opened:
        yield opened


def sent(server, path, form):
    return server.test_client().post(path, data=form, headers=HOME)


def ended(server, ticket):
    client = server.test_client()
    for _ in range(3000):
        found = client.get(f"/tickets/{ticket}", headers=HOME).get_json()
        if found["state"] in {"done", "failed"}:
            return found
        time.sleep(0.02)
    raise AssertionError(found)


def shown(server, said, body, done, of, key):
    """Return what a page shows once a ticket ended: its sentence, and the rest of it where that changed."""
    ids = (f"{said}.children", f"{body}.children")
    asked = {
        "output": f"..{'...'.join(ids)}..",
        "outputs": [dict(zip(("id", "property"), name.split("."), strict=True)) for name in ids],
        "inputs": [{"id": done[0], "property": "data", "value": done[1]}],
        "state": [{"id": of, "property": "data", "value": key}],
        "changedPropIds": [f"{done[0]}.data"],
    }
    answer = server.test_client().post("/_dash-update-component", json=asked, headers=HOME)
    assert answer.status_code == 200
    return answer.get_json()["response"]


@pytest.mark.parametrize("what", ["freeze", "leave-out"])
def test_who_is_no_lead_decides_nothing_about_a_series_and_reads_why(server, store, what):
    serials = store.verdicts(series=[FORCE])[0].serials
    form = {"series": FORCE, "what": what, "who": "BK", "why": "it was settled"}
    answer = sent(server, "/series/decide", {**form, "first": serials[0], "last": serials[40]})
    ticket = answer.get_json()["ticket"]
    assert ended(server, ticket)["state"] == "failed"
    page = shown(server, "stage-said", "stage-body", ("stage-decided", ticket), "stage-series", FORCE)
    told = page["stage-said"]["children"]["props"]
    assert told["className"] == "refused"
    assert "is for the quality lead, IS in the plan, and not for BK. Ask IS" in told["children"]
    assert "stage-body" not in page  # what was typed stays in its fields
    assert store.said_of_series(FORCE) == []


def test_of_three_who_close_a_signal_at_once_one_does_and_the_others_read_why(server, store):
    signal = store.signals(states=["open"])[0].id
    together, answers = threading.Barrier(3), []

    def close(who):
        form = {"what": "closed", "who": who, "cause": "unknown", "action": f"measured again by {who}"}
        form["outcome"] = "mended"
        together.wait()
        answers.append(sent(server, f"/signals/{signal}/say", form))

    people = [threading.Thread(target=close, args=(who,)) for who in ("IS", "BK", "IS")]
    for one in people:
        one.start()
    for one in people:
        one.join()
    assert [answer.status_code for answer in answers] == [200] * 3
    tickets = [answer.get_json()["ticket"] for answer in answers]
    states = {ticket: ended(server, ticket)["state"] for ticket in tickets}
    assert sorted(states.values()) == ["done", "failed", "failed"]
    for ticket, state in states.items():
        page = shown(server, "signals-said", "signals-body", ("signals-done", ticket), "signals-id", signal)
        told = json.dumps(page["signals-said"])
        assert ("The signal is now closed." if state == "done" else "closed already") in told
    (kept,) = [one for one in store.signals() if one.id == signal]
    assert [said.what for said in kept.said] == ["closed"]
