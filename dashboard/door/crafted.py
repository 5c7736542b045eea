"""What a page asks of its callbacks, looked at before the framework does: crafted requests end in a sentence.

The framework trusts the body of these requests. Here it is held against the callbacks that there are: their
outputs, inputs and states in order, each with a value of the kind that the page sends.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, Final

from dash import Dash
from dash.exceptions import DependencyException
from flask import Response, abort, request

from dashboard.door.roles import SHUT, refuse_unless, role_of

PATH: Final = "/_dash-update-component"
TEXT_LENGTH: Final = 2000  # chosen: addresses and names, no documents

NEVER_EMPTY: Final = frozenset(
    {"stage-series.data", "worth-series.data", "signals-id.data", "tuning-serial.data", "layout-sheet.data"}
)
"""What a page says of itself; all else is empty until someone does something."""

NOT_OURS: Final = "This is no request of a page of this board. Load the page again."
OLD_PAGE: Final = "The board knows nothing of this name. It may have been started anew: load the page again."


def guard_callbacks(app: Dash) -> None:
    """Refuse what no page of `app` asks for: 404 for a callback that is not there, 400 for the rest."""

    def look() -> None:
        if request.path == PATH and request.method == "POST":
            _look(app)

    def no_script(_: DependencyException) -> Response:
        return Response("There is no such script. Load the page again.", 404, mimetype="text/plain")

    app.server.before_request(look)
    app.server.register_error_handler(DependencyException, no_script)


def _look(app: Dash) -> None:
    if request.args.keys() - {"endId"}:
        abort(400, NOT_OURS)
    try:
        body = request.get_json()
    except (ValueError, RecursionError):  # a refusal of the framework is neither, and passes on
        abort(400, NOT_OURS)
    if not isinstance(body, dict) or not isinstance(body.get("output"), str):
        abort(400, NOT_OURS)
    known = app.callback_map.get(body["output"])
    if known is None:
        abort(404, OLD_PAGE)
    try:
        refuse_unless(role_of(known["callback"]))
    except KeyError:
        abort(403, SHUT)
    if not (_outputs_are(body) and _values_are(known, body) and _changed_are(known, body)):
        abort(400, NOT_OURS)


def _outputs_are(body: Mapping[str, Any]) -> bool:
    """Say whether the outputs spelled out are those of the name."""
    name = body["output"]
    many = name.startswith("..")
    names = name[2:-2].split("...") if many else [name]
    wanted = [dict(zip(("id", "property"), n.rsplit(".", 1), strict=True)) for n in names]
    return bool(body.get("outputs") == (wanted if many else wanted[0]))


def _values_are(known: Mapping[str, Any], body: Mapping[str, Any]) -> bool:
    for part, wanted in (("inputs", known["inputs"]), ("state", known["state"])):
        given = body.get(part, [])
        if not isinstance(given, list) or len(given) != len(wanted):
            return False
        for one, two in zip(given, wanted, strict=True):
            if not isinstance(one, dict) or one.keys() - {"id", "property", "value"}:
                return False
            if one.get("id") != two["id"] or one.get("property") != two["property"]:
                return False
            if not _is_kind(f"{two['id']}.{two['property']}", one.get("value")):
                return False
    return True


def _changed_are(known: Mapping[str, Any], body: Mapping[str, Any]) -> bool:
    allowed = {f"{one['id']}.{one['property']}" for one in known["inputs"]}
    changed = body.get("changedPropIds", [])
    return isinstance(changed, list) and all(isinstance(c, str) and c in allowed for c in changed)


def _is_kind(name: str, value: object) -> bool:
    if value is None:
        return name not in NEVER_EMPTY
    return next((is_kind(value) for like, is_kind in _KINDS if re.fullmatch(like, name)), _is_text(value))


def _is_text(value: object) -> bool:
    return isinstance(value, str) and len(value) <= TEXT_LENGTH


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 10**9


def _is_series(value: object) -> bool:
    return isinstance(value, str) and len(value) <= TEXT_LENGTH and value.count("/") == 2


def _is_choices(value: object) -> bool:
    """Say whether this is what the switches of a form are set to: lists of words by name."""
    return isinstance(value, dict) and all(
        isinstance(words, list) and len(words) < 100 and all(_is_text(word) for word in words)
        for words in value.values()
    )


_KINDS: Final[tuple[tuple[str, Callable[[object], bool]], ...]] = (
    (r".*\.n_clicks", _is_count),
    (r".*-from\.data", _is_count),
    (r"stage-rules\.data", _is_choices),
    (r".*-chosen\.data", _is_choices),
    (r"(stage|worth)-series\.data", _is_series),
)
"""Values that are no text, by the name of what they are sent for."""
