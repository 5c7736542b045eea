"""Asks the board in this process what a browser would never ask, by some bytes.

The first byte names a route, the second how the rest is sent; up to the first line's end stand the parts of
the address, divided by bars, and after it the body.
"""

from __future__ import annotations

import json
import re
from functools import lru_cache
from pathlib import Path
from urllib.parse import quote

HOME = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}
KINDS = ("application/x-www-form-urlencoded", "application/json", "multipart/form-data; boundary=cut")
BUSY = 503
"""A board that is asked too much at once may say so."""

SENT = {
    "/held/decide": "rows=1,2&decision=by-hand&column=value&value=0.95&who=IS",
    "/signals/<signal_id>/say": "what=close&outcome=mended&first=QH-1062&cause=worn&action=new+die&who=IS",
    "/series/decide": "series=slide/force/all&what=freeze&first=QH-1001&last=QH-1030&why=new+jig&who=IS",
    "/hold/decide": "serial=QH-1044&what=keep&figure=slide/force&why=dent&who=IS",
    "/readings/correct": "reading=40&column=value&value=1.11&why=misread&who=IS",
    "/held/undo": "undone=1&why=another+tube&who=IS",
    "/sheets/put-away": "sheet=odd.csv&why=typed+anew&who=IS",
    "/month/write": "month=2026-02&who=IS",
    "/people/add": "code=ZZ&role=technician&name=Z.+Probe&who=IS",
    "/plan/edit": "plan=workshop:%0A++name:+x%0A&mark=a&why=b&do=check&who=IS",
    "/sign-in": "way=pin&code=IS&secret=1234",
}
"""What the board's own pages send, of some routes."""

BY_TABLET = {
    "entry": "ab" * 16,
    "card": "force-card",
    "boxes": {"Serial": "QH-1061", "Model": "tenor", "Date": "2026-03-09", "Person": "FN", "Gauge": "SB-1"},
    "figures": {"0": "1.17"},
    "left_out": [],
    "sure": [[0, "far-off"]],
    "tablet": "one",
}


@lru_cache(maxsize=1)
def board_over(shop: Path, _: int):
    """Return the board over a workshop and its routes; made anew where the workshop was begun anew."""
    from dashboard.app import create_app
    from dashboard.door import PACE_KEY

    app = create_app(shop)
    app.server.config["PROPAGATE_EXCEPTIONS"] = True
    app.server.config[PACE_KEY].wait_s = lambda address: (
        0
    )  # how often somebody asks is not what is asked here
    return app, routes(app)


def routes(app):
    """Return the routes of ours and of callbacks, in an order that stays."""
    kept = [
        rule
        for rule in app.server.url_map.iter_rules()
        if not rule.rule.startswith(("/assets", "/_dash-comp"))
    ]
    return sorted(kept, key=lambda rule: (rule.rule, sorted(rule.methods)))


def ask(shop: Path, data: bytes) -> None:
    """Send what the bytes say.

    Raises
    ------
    AssertionError
        The board answers that it is at fault.
    """
    app, rules = board_over(shop, (shop / "qc.db").stat().st_ino)
    head, _, body = data[2:].partition(b"\n")
    rule, how = rules[data[0] % len(rules)] if data else rules[0], data[1] if data[1:] else 0
    parts = iter(head.decode("utf-8", "surrogateescape").split("|"))
    place = re.sub(
        r"<[^>]+>", lambda _: quote(next(parts, "1").encode("utf-8", "surrogateescape")), rule.rule
    )
    verbs = sorted(rule.methods - {"OPTIONS", "HEAD"})
    verb, kind = verbs[how % len(verbs)], KINDS[how // 4 % len(KINDS)]
    query = quote(next(parts, "").encode("utf-8", "surrogateescape"), safe="=&,")
    told = app.server.test_client().open(
        f"{place}?{query}", method=verb, data=body, headers=HOME, content_type=kind, base_url=HOME["Origin"]
    )
    assert told.status_code < 500 or told.status_code == BUSY, (
        f"{verb} {rule.rule} answers {told.status_code}"
    )


def seeds() -> list[bytes]:
    """Return requests such as the board's own pages send: each route once, and callbacks of every page."""
    import tempfile

    from fault_shop import lay_plan

    with tempfile.TemporaryDirectory() as folder:
        from dashboard.app import create_app

        lay_plan(Path(folder) / "shop")
        app = create_app(Path(folder) / "shop")
        rules = routes(app)
        found = []
        for number, rule in enumerate(rules):
            asked = SENT.get(rule.rule, "who=IS").encode()
            kind = 0
            if rule.rule.startswith("/bench/") and "POST" in rule.methods:
                asked, kind = json.dumps(BY_TABLET).encode(), 1
            post = sorted(rule.methods - {"OPTIONS", "HEAD"}).index("POST") if "POST" in rule.methods else 0
            found.append(bytes([number, post + 4 * kind]) + b"1|rows=1,2&month=2026-02&next=/\n" + asked)
        callbacks = next(n for n, rule in enumerate(rules) if rule.rule.endswith("_dash-update-component"))
        for output, one in list(app.callback_map.items())[:40]:
            sent = {
                "output": output,
                "outputs": {"id": output.split(".")[0], "property": output.rpartition(".")[2]},
                "inputs": [{**given, "value": "/signals"} for given in one["inputs"]],
                "changedPropIds": [f"{given['id']}.{given['property']}" for given in one["inputs"]][:1],
                "state": [{**given, "value": None} for given in one["state"]],
            }
            found.append(bytes([callbacks, 4]) + b"\n" + json.dumps(sent).encode())
    return found
