"""Everything the board answers names its role: routes, pages and callbacks are tried as nobody and each role.

The lists come from the app itself (URL map, pages, callbacks), so what is added later is tried too.
"""

import re

import pytest
from flask import Response

from dashboard.app import build_app
from dashboard.door import ANYBODY, PACE_KEY, Role, role_of
from dashboard.door.roles import token_of
from dashboard.pages import PAGES
from qc.jobs.people import PIN, OpenDoor, Signed, SignInRefused

HOME = {"Host": "127.0.0.1:8050"}
OWN = {**HOME, "Origin": "http://127.0.0.1:8050"}
PAGE = {**HOME, "Accept": "text/html"}
OPEN = {
    "/assets/<path:filename>",
    "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>",
    "/_favicon.ico",
    "/parts/<name>",
    "/theme.css",
    "/sign-in",
    "/sign-in/first",
    "/sign-in/once/<link>",
    "/sign-out",
}
"""Every address that answers before anybody has signed in; nothing of the workshop stands there."""

FOR_LEADS = {"/series/decide", "/hold/decide", "/plan/edit"}
FOR_OWNERS = {"/people/add", "/people/reset", "/people/leave"}
SHUT = {"/_reload-hash"}


class Keeper(OpenDoor):
    """A list of people, one of each role; the cookie is the role, or ``pin-`` and the role."""

    def asks(self):
        return True

    def signed(self, cookie):
        by, _, role = cookie.rpartition("-")
        return Signed(role[:2].upper(), "", Role(role), by or "password") if role in set(Role) else None

    def at_work(self):
        return [(role[:2].upper(), role) for role in Role]

    def hang(self, cookie):
        if cookie.startswith("pin"):
            raise SignInRefused("This takes your password.")
        return "wall-technician"

    def sign_in(self, code, secret, by):
        if secret != "right":
            raise SignInRefused("Code and password do not fit.")
        return "technician"


@pytest.fixture
def app(board, desk, office):
    return build_app(board, desk, Keeper(), office)


@pytest.fixture
def ask(app, monkeypatch):
    """Ask as somebody: a cookie of `Keeper`, or nobody."""
    monkeypatch.setattr(app.server.config[PACE_KEY], "wait_s", lambda address: 0)

    def asked(path, who="", method="GET", token=True, **more):
        client = app.server.test_client()
        headers = {**(PAGE if method == "GET" else OWN), **more.pop("headers", {})}
        if who:
            client.set_cookie("board-session", who, domain="127.0.0.1")
            if token:
                headers["X-CSRFToken"] = token_of(who)
        elif token:
            headers["X-CSRFToken"] = app.server.config["BOARD_TOKEN"]
        return client.open(path, method=method, headers=headers, **more)

    return asked


def routes(app):
    for rule in app.server.url_map.iter_rules():
        for method in sorted(rule.methods - {"HEAD", "OPTIONS"}):
            yield rule, method


def path_of(rule):
    return re.sub(r"<int:[^>]+>", "1", re.sub(r"<(?!int:)[^>]+>", "x", rule.rule))


def test_every_route_page_and_callback_names_its_role(app):
    unnamed = [
        r.rule for r, _ in routes(app) if not hasattr(app.server.view_functions[r.endpoint], "needs_role")
    ]
    assert set(unnamed) == SHUT
    assert [page.path for page in PAGES if role_of(page.layout) is ANYBODY] == []
    called = {name: known["callback"] for name, known in app.callback_map.items() if known.get("callback")}
    assert len(called) > 10 and all(role_of(one) in set(Role) for one in called.values())


def test_nobody_is_answered_by_nothing_but_what_is_open(app, ask, desk):
    for rule, method in routes(app):
        answer = ask(path_of(rule), method=method)
        if rule.rule in OPEN:
            assert answer.status_code not in {401}, (rule.rule, method)
        elif rule.rule in SHUT:
            assert answer.status_code == 403, rule.rule
        elif method == "GET":
            assert answer.status_code == 303 and answer.location.startswith("/sign-in?next="), rule.rule
        else:
            assert answer.status_code == 401 and "Sign in first" in answer.text, (rule.rule, method)
    assert not (desk.taken or desk.mended or desk.said or desk.decided or desk.studied or desk.heard)


def test_what_is_open_tells_nothing_of_the_workshop(app, ask, board):
    for address in ("/sign-in", "/sign-in?way=pin", "/sign-in?way=first", "/sign-in/once/x", "/theme.css"):
        text = ask(address).text
        assert board.shop().name not in text and "RA" not in text, address


@pytest.mark.parametrize("who", ["technician", "lead", "owner", "pin-owner", "pin-lead"])
def test_each_role_is_answered_where_its_own_is_enough(app, ask, who):
    acts_as = Role.TECHNICIAN if who.startswith(PIN) else Role(who)
    for rule, method in routes(app):
        if rule.rule in SHUT:
            assert ask(path_of(rule), who, method).status_code == 403
            continue
        needed = role_of(app.server.view_functions[rule.endpoint])
        assert needed is (
            Role.LEAD
            if rule.rule in FOR_LEADS
            else Role.OWNER
            if rule.rule in FOR_OWNERS
            else ANYBODY
            if rule.rule in OPEN
            else Role.TECHNICIAN
        )
        answer = ask(path_of(rule), who, method)
        if needed is ANYBODY:
            assert answer.status_code != 401, rule.rule
        elif acts_as.covers(needed):
            assert answer.status_code not in {401, 403}, (rule.rule, method, answer.text)
        else:
            assert answer.status_code == 403, (rule.rule, method)
            own = who.startswith(PIN) and Role(who.removeprefix(f"{PIN}-")).covers(needed)
            assert ("takes your password" in answer.text) == own, answer.text


def test_every_page_is_a_sign_in_for_nobody_and_itself_for_everybody(ask):
    for page in PAGES:
        path = re.sub("<[^>]+>", "x", page.path)
        assert ask(path).status_code == 303 and ask(path, "technician").status_code == 200, path


def test_every_callback_by_direct_request(app, ask):
    for name, known in app.callback_map.items():
        if known.get("callback") is None:
            continue
        body = {
            "output": name,
            "outputs": {},
            "inputs": [{**one, "value": None} for one in known["inputs"]],
            "changedPropIds": [],
        }
        assert ask("/_dash-update-component", method="POST", json=body).status_code == 401, name
        assert ask("/_dash-update-component", "technician", "POST", json=body).status_code == 400, name


def test_the_list_of_people_is_shown_to_owners_alone(app, ask):
    body = {
        "output": "..main.children...nav.children...page-name.data..",
        "outputs": [
            {"id": "main", "property": "children"},
            {"id": "nav", "property": "children"},
            {"id": "page-name", "property": "data"},
        ],
        "inputs": [{"id": "url", "property": "pathname", "value": "/people"}],
        "changedPropIds": ["url.pathname"],
    }
    told = {
        who: str(ask("/_dash-update-component", who, "POST", json=body).json)
        for who in ("technician", "lead", "pin-owner", "owner")
    }
    assert "Oda Wren" in told["owner"] and "/people" in told["owner"]
    for who in ("technician", "lead", "pin-owner"):
        assert "Oda Wren" not in told[who] and "/people" not in told[who], who


def test_a_screen_on_the_wall_shows_the_wall_and_nothing_else(app, ask):
    assert ask("/wall", "wall-owner").status_code == ask("/wall/now", "wall-owner").status_code == 200
    assert "Sign out" in ask("/wall", "wall-owner").text and "Back to" not in ask("/wall", "wall-owner").text
    for rule, method in routes(app):
        if rule.rule not in {"/wall", "/wall/now", *OPEN}:
            answer = ask(path_of(rule), "wall-owner", method)
            led = method == "GET" and answer.status_code == 303 and answer.location == "/wall"
            assert answer.status_code == 403 or led, (rule.rule, method)


def test_a_screen_is_hung_by_who_signed_in_with_the_password(app, ask):
    page = ask("/wall", "technician").text
    assert "Keep this screen on the wall" in page and "Keep this" not in ask("/wall", "pin-technician").text
    form = {"token": token_of("technician")}
    answer = ask("/sign-in/wall", "technician", "POST", token=False, data=form)
    assert (answer.status_code, answer.location) == (303, "/wall")
    assert "board-session=wall-technician" in answer.headers["Set-Cookie"]
    assert ask("/sign-in/wall", "pin-owner", "POST").status_code == 409
    assert ask("/sign-in/wall", "technician", "POST", token=False).status_code == 403


def test_a_callback_without_a_role_is_shut(app, ask):
    from dash import Input, Output

    app.callback(Output("new", "children"), Input("old", "value"))(lambda value: value)
    body = {
        "output": "new.children",
        "outputs": {"id": "new", "property": "children"},
        "inputs": [{"id": "old", "property": "value", "value": "x"}],
        "changedPropIds": ["old.value"],
    }
    assert ask("/_dash-update-component", "owner", "POST", json=body).status_code == 403


def test_a_route_without_a_role_is_shut_to_all(app, ask):
    app.server.add_url_rule("/new", view_func=lambda: Response("open"))
    assert [ask("/new", who).status_code for who in ("", "technician", "owner")] == [403] * 3


def test_a_signed_in_post_needs_the_token_of_its_session(ask, desk):
    form = {"rows": "1", "decision": "proposal"}
    for more in ({"token": False}, {"token": False, "headers": {"X-CSRFToken": token_of("owner")}}):
        assert ask("/held/decide", "technician", "POST", data=form, **more).status_code == 403
    assert not desk.mended
    assert ask("/held/decide", "technician", "POST", data=form).status_code == 200 and desk.mended


def test_a_decision_carries_who_is_signed_in_whatever_the_form_says(ask, desk):
    ask("/held/decide", "technician", "POST", data={"rows": "1", "decision": "proposal", "who": "RA"})
    assert desk.mended[-1][-1] == "TE"


def test_the_page_bears_the_token_of_its_session_and_the_head_its_person(ask):
    page = ask("/", "lead")
    assert f'content="{token_of("lead")}"' in page.text
    head = ask("/_dash-layout", "lead").text
    assert "LE, lead" in head and "Sign out" in head and "no sign-in" not in head
    assert "OW, technician, by PIN" in ask("/_dash-layout", "pin-owner").text


def test_a_sign_in_leads_back_to_where_it_was_asked_for_and_nowhere_else(ask):
    token = {"token": re.search('name="token" value="([^"]+)"', ask("/sign-in").text)[1]}
    form = {"code": "TE", "secret": "right", "way": "password"}
    for asked, led in [("/stages?a=1", "/stages?a=1"), ("//evil.example", "/"), ("http://evil.example", "/"),
                       ("/\\evil.example", "/"), ("", "/"), ("/sign-in", "/")]:  # fmt: skip
        answer = ask("/sign-in", method="POST", data={**form, **token, "next": asked}, token=False)
        assert (answer.status_code, answer.location) == (303, led)
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and "Path=/" in cookie


def test_a_wrong_secret_is_told_and_lets_nobody_in(app, ask):
    token = {"token": app.server.config["BOARD_TOKEN"]}
    answer = ask("/sign-in", method="POST", token=False, data={"code": "<b>TE", "secret": "wrong", **token})
    assert answer.status_code == 403 and "do not fit" in answer.text and "Set-Cookie" not in answer.headers
    assert "<b>" not in answer.text and "wrong" not in answer.text


def test_many_tries_from_one_address_are_put_off(app, ask):
    token = {"token": app.server.config["BOARD_TOKEN"]}
    codes = [ask("/sign-in", method="POST", token=False, data=token).status_code for _ in range(40)]
    assert codes[0] == 403 and codes[-1] == 429


def test_by_tls_the_cookies_travel_by_nothing_else(app, ask):
    app.server.config["BOARD_SECURE"] = True
    token = {"token": app.server.config["BOARD_TOKEN"]}
    form = {"code": "TE", "secret": "right", **token}
    told = ask("/sign-in", method="POST", token=False, data=form).headers["Set-Cookie"]
    assert told.startswith("__Host-board-session=") and "Secure" in told


def test_without_a_list_of_people_nothing_asks_and_the_head_says_so(board, desk):
    client = build_app(board, desk).server.test_client()
    assert client.get("/", headers=PAGE).status_code == 200
    assert "no sign-in" in client.get("/_dash-layout", headers=HOME).text
    assert "no list of people" in client.get("/sign-in", headers=PAGE).text
