"""The plain forms of the office: each post is answered by a page that is seen once and kept nowhere.

A one-time code must not lie in a ticket, or in a page that is asked for again: nothing goes by the worker.
"""

from __future__ import annotations

from flask import Flask, Response, request
from markupsafe import Markup

from dashboard import queries
from dashboard.door import TOKEN_FIELD, Role, keeper, needs, page_token, plain_page, signed
from qc.errors import QcError
from qc.jobs.office import PlanFault, mark_of
from qc.jobs.people import PersonAnswer
from qc.words import count_words, dated_words

LONGEST = 200  # characters of a field; chosen: above the longest name
EDITOR = Markup(
    """<form method="post" action="/plan/edit" class="edit-plan">
<input type="hidden" name="{token_field}" value="{token}"><input type="hidden" name="mark" value="{mark}">
{told}<label class="field"><span>plan.yaml, remarks and all</span>
<textarea name="plan" rows="28" spellcheck="false" autocomplete="off" wrap="off">
{text}</textarea></label>
<label class="field"><span>Why it is changed</span>
<input name="why" value="{why}" maxlength="600" autocomplete="off"></label>{who}
<div class="ways"><button type="submit" name="do" value="check">Check</button>
<button type="submit" name="do" value="save" class="do">Save as a new version</button></div></form>{back}"""
)
NOBODY = "Choose who changes the plan, below; the name is kept with the version."
AGAIN = Markup('<p><a href="/{}">Back to {}</a></p>')


def add_routes(server: Flask) -> None:
    """Add the routes of the people and of the plan."""
    for verb, view in (("add", add_somebody), ("reset", give_code), ("leave", say_left)):
        server.add_url_rule(f"/people/{verb}", view_func=view, methods=["POST"])
    server.add_url_rule("/plan/edit", view_func=edit_plan, methods=["GET"])
    server.add_url_rule("/plan/edit", view_func=take_plan, methods=["POST"])


@needs(Role.OWNER)
def add_somebody() -> Response:
    """Add a person, or change role or name of one."""
    try:
        found = queries.office().add(_field("code"), _field("role"), _field("name"), _who())
    except QcError as refused:
        return _refused(refused)
    return _told(found)


@needs(Role.OWNER)
def give_code() -> Response:
    """Give a person a new one-time code."""
    try:
        return _told(queries.office().reset(_field("code"), _who()))
    except QcError as refused:
        return _refused(refused)


@needs(Role.OWNER)
def say_left() -> Response:
    """Say that a person has left."""
    try:
        return _told(queries.office().leave(_field("code"), _who()))
    except QcError as refused:
        return _refused(refused)


@needs(Role.LEAD)
def edit_plan() -> Response:
    """Return the plan as text in a field."""
    text = queries.office().plan().text
    return _editor(text, mark_of(text))


@needs(Role.LEAD)
def take_plan() -> Response:
    """Check the plan as typed, or save it; whatever is wrong, what was typed stays in the field."""
    text = request.form.get("plan", "").replace("\r\n", "\n")
    mark, why = _field("mark"), request.form.get("why", "")
    saving = request.form.get("do", "") == "save"
    if saving and queries.board().shop().people and not _who():
        return _editor(text, mark, said=NOBODY, why=why, status=400)
    try:
        faults = queries.office().check(text)
        if faults or not saving:
            return _editor(text, mark, faults=faults, why=why, status=400 if faults else 200, checked=True)
        saved = queries.office().save(text, _who(), why, mark)
    except QcError as refused:
        return _editor(text, mark, said=str(refused), why=why, status=400)
    if saved.faults:
        return _editor(text, mark, faults=saved.faults, why=why, status=400)
    queries.desk().judge()
    number = saved.version or 1
    body = Markup(
        '<div class="card"><p>What it changes for what is judged shows on the pages in a moment.</p>'
        '<p class="after"><a href="/plan/{}/{}">What differs from version {}</a></p></div>{}'
    ).format(number - 1, number, number - 1, AGAIN.format("plan", "the plan"))
    return _page(f"The plan is saved as version {number}", body)


def _editor(
    text: str,
    mark: str,
    *,
    faults: tuple[PlanFault, ...] = (),
    said: str = "",
    why: str = "",
    status: int = 200,
    checked: bool = False,
) -> Response:
    """Draw the plan's editor with what was typed, so that a fault costs no typing."""
    told = Markup("")
    if said:
        told = Markup('<p class="refused" role="alert">{}</p>').format(said)
    elif faults:
        rows = Markup("").join(
            Markup("<li>{}{}</li>").format(f"Line {one.line}: " if one.line else "", _fault(one))
            for one in faults
        )
        told = Markup(
            '<div role="alert"><p class="refused">{} Nothing is saved.</p><ol class="reasons">{}</ol></div>'
        ).format(f"The plan has {count_words(len(faults), 'fault')}.", rows)
    elif checked:
        told = Markup('<p role="status" class="is-steady">No fault was found. It is not saved yet.</p>')
    body = EDITOR.format(
        token_field=TOKEN_FIELD,
        token=page_token(),
        mark=mark,
        text=text,
        told=told,
        why=why,
        who=_asked_who(),
        back=AGAIN.format("plan", "the plan"),
    )
    return _page("Edit the plan", body, status, wide=True)


def _fault(one: PlanFault) -> str:
    return f"{one.field}: {one.problem}. {one.mend}" if one.field else f"{one.problem}. {one.mend}"


def _asked_who() -> Markup:
    """Ask who saves it, where nobody signs in."""
    if signed() is not None or keeper().asks():
        return Markup("")
    chosen = request.form.get("who", "")
    options = Markup("").join(
        Markup('<option value="{}"{}>{}</option>').format(
            code, Markup(" selected") if code == chosen else "", shown
        )
        for code, shown in queries.board().shop().people
    )
    return Markup(
        '<label class="field"><span>Who changes it</span><select name="who">'
        '<option value="">choose a name</option>{}</select></label>'
    ).format(options)


def _told(found: PersonAnswer) -> Response:
    notes = Markup("").join(Markup("<p>{}</p>").format(note) for note in found.notes)
    once = Markup("")
    if found.one_time_code and found.valid_until:
        once = Markup(
            '<p class="once"><code>{}</code></p><p>Taken once and until {}; it is shown only now. Hand it '
            "over in person: the first sign-in uses it up and sets PIN and password.</p>"
        ).format(found.one_time_code, dated_words(found.valid_until.date()))
    body = Markup('<div class="card said">{}{}</div>{}').format(
        once, notes, AGAIN.format("people", "the people")
    )
    return _page(found.sentence.removesuffix("."), body)


def _refused(refused: QcError) -> Response:
    body = Markup('<p class="refused" role="alert">{}</p>{}').format(
        str(refused), AGAIN.format("people", "the people")
    )
    return _page("Nothing was changed", body, 400)


def _page(title: str, body: Markup, status: int = 200, *, wide: bool = False) -> Response:
    return Response(plain_page(title, body, wide=wide), status, mimetype="text/html")


def _who() -> str:
    own = signed()
    if own is not None or keeper().asks():
        return own.code if own is not None else ""
    return _field("who")


def _field(name: str) -> str:
    return request.form.get(name, "").strip()[:LONGEST]
