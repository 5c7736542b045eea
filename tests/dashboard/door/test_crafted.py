"""Requests that no page sends: a number and a sentence, nothing in the log, no version told."""

import json
import logging
import random
import re
from copy import deepcopy

import pytest

from dashboard.door import PACE_KEY

HOME = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}
CALLBACKS = "/_dash-update-component"
DEEP = "[" * 100_000
STRANGE = [
    None,
    True,
    -1,
    10**400,
    1.5,
    "",
    "x" * 5000,
    "\ud800",
    [],
    [[]],
    {},
    {"id": []},
    ["main.children"],
]


def body_of(app, output):
    """Return what a page would send for a callback, every value empty."""
    known = app.callback_map[output]
    names = output[2:-2].split("...") if output.startswith("..") else [output]
    outputs = [dict(zip(("id", "property"), name.rsplit(".", 1), strict=True)) for name in names]
    said = {"stage-series": "a/b/c", "worth-series": "a/b/c", "signals-id": "none"}
    return {
        "output": output,
        "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": [{**one, "value": None} for one in known["inputs"]],
        "state": [{**one, "value": said.get(one["id"])} for one in known["state"]],
        "changedPropIds": [f"{one['id']}.{one['property']}" for one in known["inputs"][:1]],
    }


def answered(client, data, **more):
    return client.post(CALLBACKS, data=data, headers=HOME, content_type="application/json", **more)


@pytest.mark.parametrize(
    "data", ["", "null", "[]", "1", '"x"', "{", "{}", DEEP, '{"output": 1}', "\x00", "NaN"]
)
def test_a_body_that_is_none_is_refused(client, caplog, data):
    answer = answered(client, data)
    assert answer.status_code == 400 and not caplog.records


def test_a_callback_that_is_not_there_says_what_to_do(client, caplog):
    answer = answered(client, json.dumps({"output": "none.children"}))
    assert answer.status_code == 404 and "load the page again" in answer.text and not caplog.records


def server_side(app):
    return [name for name, known in app.callback_map.items() if known.get("callback") is not None]


def test_every_part_of_a_callback_put_wrong_is_answered_without_a_traceback(app, client, caplog, monkeypatch):
    caplog.set_level(logging.ERROR)
    monkeypatch.setattr(client.application.config[PACE_KEY], "wait_s", lambda address: 0)
    chance = random.Random(20261129)
    seen = {}
    for output in server_side(app):
        for _ in range(120):
            body = body_of(app, output)
            for _ in range(chance.randint(1, 3)):
                part = chance.choice([*body])
                if isinstance(body[part], list) and body[part] and chance.random() < 0.7:
                    spot = chance.randrange(len(body[part]))
                    one = body[part][spot]
                    if isinstance(one, dict) and chance.random() < 0.8:
                        one[chance.choice([*one, "more"])] = deepcopy(chance.choice(STRANGE))
                    else:
                        body[part][spot] = deepcopy(chance.choice(STRANGE))
                elif chance.random() < 0.3:
                    del body[part]
                else:
                    body[part] = deepcopy(chance.choice(STRANGE))
                if not body:
                    break
            answer = answered(client, json.dumps(body))
            seen[answer.status_code] = seen.get(answer.status_code, 0) + 1
            assert answer.status_code in {200, 204, 400, 404}, (body, answer.text)
    assert seen[400] > 500 and not caplog.records


@pytest.mark.parametrize("ticket", ["g1", "h1", "s1", "t1"])  # of a study, a recording, a saying, an upload
def test_a_ticket_of_another_question_answers_none(app, client, caplog, ticket):
    for output in server_side(app):
        body = body_of(app, output)
        if not body["inputs"][0]["id"].endswith("-done"):
            continue
        body["inputs"][0]["value"] = ticket
        assert answered(client, json.dumps(body)).status_code in {200, 204}, output
    assert not caplog.records


@pytest.mark.parametrize("value", [5, [], {"a": 1}, True, "x" * 3000])
def test_a_value_of_another_kind_reaches_no_page(client, value, caplog):
    body = {
        "output": "instruments-list.children",
        "outputs": {"id": "instruments-list", "property": "children"},
        "inputs": [{"id": "instruments-find", "property": "value", "value": value}],
        "changedPropIds": ["instruments-find.value"],
    }
    assert answered(client, json.dumps(body)).status_code == 400 and not caplog.records


def test_jobs_of_the_framework_are_not_taken(client):
    assert client.post(CALLBACKS + "?cacheKey=x&job=1", json={"output": "x"}, headers=HOME).status_code == 400


@pytest.mark.parametrize(
    "path",
    [
        "/_dash-component-suites/none/x.js",
        "/_dash-component-suites/dash/../../x",
        "/_dash-component-suites/dash/%00",
        "/_dash-component-suites/os/path.py",
        "/assets/none.css",
        "/assets/%00",
        "/assets/../app.py",
        "/static/x",
        "/parts/none.js",
        "/tickets/%00",
        "/reports/%00/x",
        "/data/stages/%ff/%00/x.csv",
        "/held/none",
    ],
)
def test_an_odd_address_is_not_found(client, path, caplog):
    answer = client.get(path, headers=HOME)
    assert answer.status_code in {200, 404} and not caplog.records
    assert answer.status_code == 404 or "react-entry-point" in answer.text


def test_a_large_body_is_refused_everywhere(client, caplog):
    large = b"x" * (2**20 + 1)
    form = "application/x-www-form-urlencoded"
    for path in ("/held/decide", "/signals/s2/say", "/series/decide"):
        assert client.post(path, data=large, headers=HOME, content_type=form).status_code == 413, path
    assert answered(client, large).status_code == 413
    assert not caplog.records


ODD = ["%00", "..", "%ff", "x" * 3000, "%C2%B2", "9" * 400, "a%2Fb", "%25", "%0a", "%E2%80%AE", "con", "s2"]
METHODS = ["GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE", "TRACE"]
FIELDS = ("rows", "decision", "who", "what", "series", "first", "cause", "action", "column", "value", "part")
WORDS = [
    "",
    "\x00",
    "\u202e",
    "9" * 400,
    "1e308",
    "²",
    "1,2",
    "by-hand",
    "closed",
    "freeze",
    "f0/f1/all",
    "RA",
]


def test_every_route_with_odd_parts_methods_and_forms_ends_in_a_number(app, caplog, monkeypatch):
    monkeypatch.setattr(app.server.config[PACE_KEY], "wait_s", lambda address: 0)
    client, chance, seen = app.server.test_client(), random.Random(20261129), set()
    for rule in app.server.url_map.iter_rules():
        for odd in ODD if "<" in rule.rule else ODD[:2]:
            path = re.sub("<[^>]+>", odd, rule.rule) + chance.choice(["", "?rows=" + odd, "?m=" + odd])
            for method in METHODS:
                form = {name: chance.choice(WORDS) for name in FIELDS} if method in {"POST", "PUT"} else None
                with client.open(path, method=method, data=form, headers=HOME) as answer:
                    assert answer.status_code < 500, (method, path, form)
                    seen.add(answer.status_code)
    assert {200, 400, 404, 405} <= seen and not caplog.records


@pytest.mark.parametrize(
    "path", ["/", "/stages", "/tickets/t1", "/assets/board.css", "/reports/x/y", "/nowhere"]
)
def test_no_route_is_left_out_of_the_pace(client, monkeypatch, path):
    monkeypatch.setattr(client.application.config[PACE_KEY], "_burst", 0.5)
    assert client.get(path, headers=HOME).status_code == 429
    assert client.post(path, headers=HOME).status_code == 429


def test_every_address_there_is_keeps_the_pace(app, monkeypatch):
    monkeypatch.setattr(app.server.config[PACE_KEY], "_burst", 0.5)
    client, rules = app.server.test_client(), [rule.rule for rule in app.server.url_map.iter_rules()]
    assert {"/bench/enter", "/remedies/recording", "/plan/edit", "/people/add", "/wall/now", "/day"} <= {
        *rules
    }
    for rule in rules:
        path = re.sub("<[^>]+>", "x", rule)
        asked = (client.get(path, headers=HOME), client.post(path, headers=HOME))
        assert [answer.status_code for answer in asked] == [429, 429], path


def test_one_address_that_asks_too_much_costs_no_other(client, monkeypatch):
    monkeypatch.setattr(client.application.config[PACE_KEY], "_burst", 1)
    asked = [
        client.get("/theme.css", headers=HOME, environ_base={"REMOTE_ADDR": f"127.0.0.{n}"})
        for n in (1, 1, 2)
    ]
    assert [answer.status_code for answer in asked] == [200, 429, 200]


def test_too_many_requests_are_told_when_to_come_again(client, monkeypatch):
    monkeypatch.setattr(client.application.config[PACE_KEY], "_burst", 2)
    assert [client.get("/theme.css", headers=HOME).status_code for _ in range(2)] == [200, 200]
    answer = client.get("/theme.css", headers=HOME)
    assert answer.status_code == 429 and int(answer.headers["Retry-After"]) >= 1


def test_the_first_page_tells_no_version_and_its_scripts_are_there(client):
    html = client.get("/", headers=HOME).text
    assert not re.findall(r"\d+[._]\d+[._]\d+", html)
    assert not re.findall(r'"\w+_version":"[^"]', html)
    scripts = re.findall(r'src="([^"]+)"', html)
    assert len(scripts) > 8
    for address in scripts:
        with client.get(address, headers=HOME) as answer:
            assert answer.status_code == 200 and "javascript" in answer.mimetype, address
            assert "max-age=31536000" in answer.headers["Cache-Control"], address


@pytest.mark.parametrize("path", ["/", "/theme.css", "/tickets/t1", "/_dash-layout", "/nowhere"])
def test_pages_and_data_are_not_kept(client, path):
    assert client.get(path, headers=HOME).headers["Cache-Control"] == "no-store"
