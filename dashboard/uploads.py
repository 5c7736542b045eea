"""The plain routes by which sheets come in: multipart, with a size limit, no base64."""

from __future__ import annotations

from typing import IO, Any, Final

from flask import Flask, Response, abort, jsonify, request
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from dashboard import queries
from dashboard.door import LARGE, MOST_BYTES, Role, keeper, needs, signed
from dashboard.pages.sheet_questions import mapping_of
from qc.errors import MachineError, QcError
from qc.jobs.board import DeskFull

MOST_FILES: Final = 500  # chosen: the sheets of a year in one go, for an imported past
WHO_LENGTH: Final = 40  # as long as an id of the plan may be


def add_routes(server: Flask) -> None:
    """Add the routes for uploads and for the progress of every ticket."""
    server.add_url_rule("/uploads", view_func=take_sheets, methods=["POST"])
    server.add_url_rule("/uploads/mapped", view_func=take_mapped, methods=["POST"])
    server.add_url_rule("/tickets/<ticket>", view_func=tell_progress, methods=["GET"])
    server.register_error_handler(RequestEntityTooLarge, _too_large)
    server.register_error_handler(DeskFull, _full)
    server.register_error_handler(QcError, _said)


@needs(Role.TECHNICIAN)
def take_sheets() -> Response:
    """Take the files of a form and answer with a ticket."""
    files = _files()
    return files if isinstance(files, Response) else jsonify({"ticket": queries.desk().submit(files, who())})


@needs(Role.TECHNICIAN)
def take_mapped() -> Response:
    """Take files again with what their headings mean, as a page asked it, and answer with a ticket."""
    files = _files()
    if isinstance(files, Response):
        return files
    try:
        mapping = mapping_of(request.form.to_dict(flat=False))
    except ValueError:
        return problem("These answers do not fit the question any more. Drop the sheet again.", 400)
    if request.form.get("dates") == "":
        return problem("Choose which day the date is that can be read two ways.", 400)
    faults = queries.board().mapping_faults(mapping)
    if faults:
        return problem(" ".join(faults), 400)
    return jsonify({"ticket": queries.desk().submit_mapped(files, mapping, who())})


def _files() -> list[tuple[str, IO[bytes]]] | Response:
    """Return the files of a form, or the answer that refuses them."""
    request.max_content_length = MOST_BYTES
    sent = [file for file in request.files.getlist("sheets") if file.filename]
    if not sent:
        return problem("No sheet came with this upload. Choose one or more csv or xlsx files.", 400)
    if len(sent) > MOST_FILES:
        return problem(f"{len(sent)} sheets are too many in one go; send at most {MOST_FILES}.", 400)
    return [(file_name(file.filename), file.stream) for file in sent]


@needs(Role.TECHNICIAN)
def tell_progress(ticket: str) -> Response:
    """Answer how far a ticket is, without its receipt: the page asks for that itself."""
    found = queries.desk().progress(ticket)
    if found is None:
        abort(404)
    return jsonify({name: found[name] for name in ("state", "done", "of", "message")})


def who() -> str:
    """Return who is signed in, else the code a form names; empty for one the plan does not have at work."""
    own = signed()
    if own is not None or keeper().asks():
        return own.code if own is not None else ""
    named = request.form.get("who", "").strip()[:WHO_LENGTH]
    codes = {code for code, _ in queries.board().shop().people}
    return named if named in codes else ""


def problem(sentence: str, status: int) -> Response:
    """Return an answer that says what is wrong and what to do."""
    answer = jsonify({"problem": sentence})
    answer.status_code = status
    return answer


def file_name(sent: str | None) -> str:
    """Return the last part of a file's name, and only what can be shown: it labels, it reaches no disk."""
    name = (sent or "").replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in name if c.isprintable())[:200] or "sheet"


def _said(error: QcError) -> Response:
    """Answer with the sentence of an error that a route has no answer of its own for."""
    return problem(str(error), 503 if isinstance(error, MachineError) else 400)


def _full(refused: DeskFull) -> Response:
    answer = problem(str(refused), refused.status)
    answer.headers["Retry-After"] = str(refused.wait_s)
    return answer


def _too_large(_: HTTPException) -> Any:
    if request.path in LARGE:
        return problem(
            f"This is more than {MOST_BYTES // 2**20} MB in one go. Send fewer sheets at a time.", 413
        )
    return problem("This is more than this address takes. Nothing was stored; write less, and send it.", 413)
