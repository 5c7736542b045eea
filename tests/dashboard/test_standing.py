"""The board on a past day: what the address says, what the page says, and that nothing is written there."""

import json
from datetime import date

import pytest

from dashboard import queries
from qc.errors import UsageError

HOST = "http://127.0.0.1:8050"
HOME = {"Host": "127.0.0.1:8050", "Origin": HOST}
PAST = {**HOME, "Referer": f"{HOST}/?known=2026-03-02"}


@pytest.fixture
def ask(client):
    def page(path, headers):
        body = {
            "output": "..main.children...nav.children...page-name.data..",
            "outputs": [
                {"id": "main", "property": "children"},
                {"id": "nav", "property": "children"},
                {"id": "page-name", "property": "data"},
            ],
            "inputs": [{"id": "url", "property": "pathname", "value": path}],
            "changedPropIds": ["url.pathname"],
        }
        answer = client.post("/_dash-update-component", json=body, headers=headers)
        assert answer.status_code == 200
        return json.dumps(answer.get_json()["response"], ensure_ascii=False)

    return page


def test_the_present_has_no_line_and_its_links_name_no_day(ask):
    shown = ask("/", HOME)
    assert "past-banner" not in shown and "known=" not in shown


def test_a_past_day_is_said_and_every_link_keeps_it(ask, board):
    shown = ask("/", PAST)
    assert "As it was known on Monday 2 March 2026." in shown
    assert "12 readings were handed in later." in shown  # what the board says of that day
    assert '"href": "/signals?known=2026-03-02"' in shown
    hrefs = [part.split('"')[0] for part in shown.split('"href": "')[1:]]
    bare = [href for href in hrefs if href.startswith("/") and "known=" not in href]
    assert bare == ["/"]  # back to today
    assert board.asked == [date(2026, 3, 2)] * len(board.asked) and board.asked


def test_what_is_no_day_is_said_and_today_or_later_is_the_present(ask):
    said = ask("/", {**HOME, "Referer": f"{HOST}/?known=2026-13-02"})
    assert "'2026-13-02' is not a day. Write it in the address as known=YYYY-MM-DD." in said
    assert "past-banner" not in ask("/", {**HOME, "Referer": f"{HOST}/?known=2099-01-01"})


@pytest.mark.parametrize(
    "path", ["/_dash-layout", "/data/stages/a/b/all.csv", "/held/1/ways", "/judged", "/day"]
)
def test_a_day_to_come_is_the_present_on_every_route_too(client, board, caplog, path):
    with client.get(f"{path}?known=9999-12-31", headers=HOME) as answer:
        assert answer.status_code in {200, 404}
    assert not board.asked and not caplog.records


def test_a_past_day_that_the_board_cannot_show_is_a_sentence_on_every_route(
    client, board, monkeypatch, caplog
):
    def refuse(day):
        raise UsageError(f"{day} is a day of no workshop.")

    monkeypatch.setattr(board, "known", refuse)
    for path in ("/held/1/ways", "/judged", "/day"):
        answer = client.get(f"{path}?known=0001-01-01", headers=HOME)
        assert answer.status_code == 400 and answer.json == {"problem": "0001-01-01 is a day of no workshop."}
    assert not caplog.records


def test_nothing_is_written_from_a_page_on_a_past_day(client, app, desk):
    token = app.server.config["BOARD_TOKEN"]
    client.set_cookie("board_token", token, domain="127.0.0.1")
    for path in ("/series/decide", "/held/decide", "/signals/s0/say", "/hold/decide", "/upload"):
        answer = client.post(path, headers={**PAST, "X-CSRFToken": token}, data={})
        assert answer.status_code == 409, path
        assert "known on Monday 2 March 2026: nothing is written there" in answer.get_json()["problem"]
    assert client.post("/hold/decide", headers={**HOME, "X-CSRFToken": token}).status_code == 400


def test_what_a_page_asks_for_later_stands_on_its_day_too(app):
    with app.server.test_request_context("/series.csv", base_url=HOST, headers=PAST):
        assert queries.standing_day() == date(2026, 3, 2)
    with app.server.test_request_context("/series.csv?known=nonsense", base_url=HOST):
        assert queries.standing_day() is None
