import re

import pytest

from dashboard.door import BoardRefused, check_host, content_policy
from qc.errors import QcError

HOME = {"Host": "127.0.0.1:8050"}


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "[::1]", "127.0.0.53"])
def test_loopback_is_served(host):
    assert check_host(host) == host


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.4", "::", "example.org", "", "127.0.0.1.example.org"])
def test_anything_else_is_refused_with_a_way_out(host):
    with pytest.raises(BoardRefused, match="--host 127.0.0.1") as caught:
        check_host(host)
    assert isinstance(caught.value, QcError)


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8050", "localhost:8050", "[::1]:8050", "localhost", "127.0.0.2:8050"]
)
def test_its_own_names_are_answered(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example:8050", "127.0.0.1.evil.example", "localhost.evil.example:8050"]
)
@pytest.mark.parametrize(
    "path", ["/", "/theme.css", "/_dash-layout", "/tickets/t1", "/data/stages/a/b/c.csv"]
)
def test_a_foreign_name_is_refused_everywhere(client, host, path):
    # a name of another site that was made to point at this machine (DNS rebinding)
    assert client.get(path, headers={"Host": host}).status_code == 421


@pytest.mark.parametrize("path", ["/uploads", "/held/decide", "/signals/s0/say", "/_dash-update-component"])
@pytest.mark.parametrize(
    "more",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_post_from_another_page_is_refused(client, desk, path, more):
    assert client.post(path, headers={**HOME, **more}).status_code == 403
    assert not desk.taken and not desk.mended and not desk.said


def test_a_post_from_our_own_page_is_taken(client):
    own = {**HOME, "Origin": "http://127.0.0.1:8050", "Sec-Fetch-Site": "same-origin"}
    assert (
        client.post(
            "/held/decide", headers=own, data={"rows": "1", "decision": "proposal", "who": "RA"}
        ).status_code
        == 200
    )


def test_a_post_without_origin_needs_the_token_of_the_page(client, desk):
    form = {"rows": "1", "decision": "proposal", "who": "RA"}
    refused = client.post("/held/decide", headers=HOME, data=form)
    assert refused.status_code == 403 and "Load the page again" in refused.text and not desk.mended
    answer = client.get("/", headers=HOME)
    token = re.search(r'name="board-token" content="([^"]+)"', answer.text)[1]
    assert f"_csrf_token={token}; " in answer.headers["Set-Cookie"]
    wrong = client.post("/held/decide", headers={**HOME, "X-CSRFToken": token[:-1] + "é"}, data=form)
    assert wrong.status_code == 403
    taken = client.post("/held/decide", headers={**HOME, "X-CSRFToken": token}, data=form)
    assert taken.status_code == 200 and desk.mended


POSTED = [
    "/uploads",
    "/uploads/mapped",
    "/held/decide",
    "/signals/s2/say",
    "/held/undo",
    "/sheets/put-away",
    "/sheets/show",
    "/readings/correct",
    "/series/decide",
    "/hold/decide",
    "/month/write",
    "/bench/check",
    "/bench/enter",
    "/gauges/study",
    "/people/add",
    "/people/reset",
    "/people/leave",
    "/plan/edit",
    "/remedies/recording",
    "/sign-in",
    "/sign-in/wall",
    "/sign-in/first",
    "/sign-out",
    "/_dash-update-component",
]


@pytest.mark.parametrize("path", POSTED)
def test_no_route_takes_a_post_without_origin_and_token(client, desk, path):
    assert client.post(path, headers=HOME).status_code == 403
    assert not (desk.taken or desk.mended or desk.said or desk.decided or desk.studied or desk.written)
    assert not desk.heard


def test_every_route_that_takes_posts_is_among_those_asked(client):
    rules = client.application.url_map.iter_rules()
    taking = {rule.rule for rule in rules if "POST" in rule.methods and not rule.rule.startswith("/_")}
    assert taking == {path.replace("s2", "<signal_id>") for path in POSTED} - {"/_dash-update-component"}


@pytest.mark.parametrize("path", ["/", "/theme.css", "/nowhere/at/all", "/tickets/none"])
def test_every_answer_carries_the_security_headers(client, path):
    headers = client.get(path, headers=HOME).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    policy = headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy and "frame-ancestors 'none'" in policy
    assert "unsafe-eval" not in policy
    scripts = next(part for part in policy.split("; ") if part.startswith("script-src"))
    assert "'unsafe-inline'" not in scripts and "http" not in scripts


def test_the_policy_names_the_frameworks_inline_script(client):
    policy = client.get("/", headers=HOME).headers["Content-Security-Policy"]
    assert "'sha256-" in policy


def test_the_policy_lists_each_hash_once():
    assert content_policy(["'sha256-a'", "'sha256-a'"]).count("sha256-a") == 1
