"""What a head of a request may say: nothing in it ends in a fault of the board."""

import logging

import pytest

HEADS = [
    {"Origin": "http://[::1"},
    {"Origin": "http://[zz]:1"},
    {"Referer": "http://[::1"},
    {"Referer": "http://[zz]/?known=2026-05-01"},
    {"Origin": "null"},
    {"Origin": "é"},
    {"Host": "[::1"},
    {"Host": "[]"},
    {"Host": "127.0.0.1:99999999"},
    {"Host": "127.0.0.1:x"},
    {"Host": ""},
    {"Host": "127.0.0.1@evil.example"},
    {"X-CSRFToken": "\u00e9" * 3000},
    {"Cookie": "session=" + "a" * 8000},
    {"Cookie": "=; ;;; =a"},
    {"Content-Type": "multipart/form-data"},
    {"Content-Type": "multipart/form-data; boundary="},
    {"Content-Type": "application/json; charset=nonsense"},
    {"Content-Length": "-1"},
    {"Content-Length": "many"},
    {"Range": "bytes=9-1"},
    {"If-None-Match": '"' * 50},
    {"If-Modified-Since": "yesterday"},
    {"Accept-Language": "q" * 5000},
    {"Accept-Encoding": ";;;q=9e999"},
    {"Authorization": "Digest \x80"},
    {"X-Forwarded-For": "1.2.3.4"},
]


@pytest.mark.parametrize("head", HEADS, ids=lambda head: next(iter(head)))
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_no_head_makes_the_board_stumble(client, caplog, head, method):
    with caplog.at_level(logging.ERROR):
        for path in (
            "/",
            "/held/decide",
            "/uploads",
            "/_dash-update-component",
            "/assets/board.css",
            "/sign-in?next=http://[zz]",
        ):
            with client.open(path, method=method, headers={"Host": "127.0.0.1:8050", **head}) as answer:
                assert answer.status_code < 500, (path, head)
    assert not caplog.records
