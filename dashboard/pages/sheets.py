"""``/sheets``: hand in the day's sheets, read the receipt, look after held rows, see what came before."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs, signed
from dashboard.fields import Field, choice, desk_form, line, submit
from dashboard.pages.decided import CHOSEN, decided_fold, held_filter, those_chosen
from dashboard.pages.sheet_questions import question_cards
from dashboard.pages.showing.waiting import waiting_card
from dashboard.parts import card, heading, nothing, serial_link, table, unbroken
from dashboard.printed import blanks_card
from dashboard.routing import Page, address
from qc import clock
from qc.jobs.board import HeldView, Ticket
from qc.plain import JsonObject

UNDER = "Hand in the day's sheets. Rows in doubt are held with every reason; nothing is corrected silently."
COLUMN_WORDS = {"value": "the figure", "serial": "the serial", "day": "the day", "unit": "the unit"}
JUDGED = "What was settled is judged: the charts and signals have it."
SHOWN_HELD = 20
SHOWN_SHEETS = 20
"""Rows shown at once; the others are a page further on, not left out."""


@needs(Role.TECHNICIAN)
def layout(**_: str) -> Component:
    """Return the sheets page."""
    queries.desk().warm()
    return html.Div(
        [
            heading("Sheets", UNDER),
            html.Div([html.Div([_drop_card(), html.Div(id="sheets-receipt", className="stack")])]),
            html.Div(_below(), id="sheets-below", className="stack"),
            blanks_card(),
            # The script of this page writes here when a ticket is done; the callback below then looks it up.
            dcc.Store(id="sheets-done"),
            # and here which rows to show first: of those held, of the past sheets
            dcc.Store(id="sheets-held-from"),
            dcc.Store(id="sheets-past-from"),
            dcc.Store(id=CHOSEN),
        ]
    )


def register(app: Dash) -> None:
    """Add the callbacks that show a receipt with what is held after it, and a page of either list."""

    @needs(Role.TECHNICIAN)
    def show_receipt(ticket: str) -> tuple[list[Component], list[Component]]:
        """Return the receipt of a ticket, and the lists as they stand now."""
        # what is handed in ends in sheets, a decision that is undone in a sentence
        found = queries.ticket(ticket, "sheets") or queries.ticket(ticket, "sentence")
        asked = question_cards((found["receipt"] or {}).get("questions", [])) if found else []
        return ([*asked, receipt_card(found)] if found else []), _below()

    app.callback(
        Output("sheets-receipt", "children"),
        Output("sheets-below", "children"),
        Input("sheets-done", "data"),
        prevent_initial_call=True,
    )(show_receipt)

    @needs(Role.TECHNICIAN)
    def show_held(first: int | None, chosen: dict[str, list[str]] | None) -> Component:
        """Return the page that begins with row number `first` of the held rows that were chosen."""
        rows = those_chosen(queries.board().held(), chosen, clock.now())
        return held_list(rows, first or 0) if rows else nothing("No held row fits what is chosen.")

    @needs(Role.TECHNICIAN)
    def show_past(first: int | None) -> list[Component]:
        """Return the page of the past sheets that begins with sheet number `first`."""
        return past_list(first or 0)

    for name, show, more in (("held", show_held, [Input(CHOSEN, "data")]), ("past", show_past, [])):
        app.callback(
            Output(f"sheets-{name}-list", "children"),
            Input(f"sheets-{name}-from", "data"),
            *more,
            prevent_initial_call=True,
        )(show)


def receipt_card(found: Ticket) -> Component:
    """Return what became of an upload or a mend."""
    if found["state"] != "done":
        return card("This was stopped", html.P(found["message"], className="lead"), className="warn")
    receipt = found["receipt"] or {}
    if "undone" in receipt:
        return card("Undone", *[html.P(row["sentence"]) for row in receipt["undone"]])
    if "put_away" in receipt:
        return card("Put away", html.P(receipt["sentence"]))
    if "mended" in receipt:
        lines = [line for row in receipt["mended"] for line in _became(row)]
        return card("Held rows settled", *lines)
    sheets = receipt.get("sheets", [])
    body: list[Any] = [html.P(_receipt_sentence(receipt), className="lead")]
    asked = tuple(f"{q['file']}{sign}" for q in receipt.get("questions", []) if q["columns"] for sign in ":,")
    told = [text for text in receipt.get("refused", []) if not (asked and text.startswith(asked))]
    body += [html.P(text, className="refused") for text in told]
    body += [html.P(text, className="small") for text in receipt.get("kept_said", [])]
    body += [_receipt_table(sheets)] if sheets else []
    stand = receipt.get("readings", {}).get("sentence", "")
    body += [html.P(said, className="small") for said in ([stand] if stand else []) + _learned(sheets)]
    # those of series that no sheet of the upload belongs to as well
    every = [*receipt.get("signals", []), *(signal for sheet in sheets for signal in sheet["signals"])]
    raised = {signal["id"]: signal for signal in every}
    body += [_left(one) for name in ("left", "left_before") for one in receipt.get(name, [])]
    if raised:
        lines = [html.Li(_signal_link(signal)) for signal in raised.values()]
        body.append(
            html.Div(
                [html.H2("What this upload showed"), html.Ul(lines, className="life")], className="after"
            )
        )
    if held := receipt.get("hold_said", "").partition(" All that is")[0]:
        way = dcc.Link("All that is to be held", href="/hold")
        body.append(html.P([*unbroken(held), " ", way], className="small"))
    marks = list(dict.fromkeys(mark for sheet in sheets for mark in sheet.get("marks", [])))
    body += [html.P(mark, className="small") for mark in marks]
    return card("Receipt", *body)


def _left(one: JsonObject) -> Component:
    """Say of a piece that is out although something holds it, what to do, and the way to its page."""
    way = dcc.Link("What holds it", href=address("/hold/<serial>", {"serial": one["rows"][0]["serial"]}))
    return html.P([html.B(unbroken(one["sentence"])), " ", one["next_step"], " ", way], className="refused")


def _learned(sheets: list[JsonObject]) -> list[str]:
    """Say what is new on sheets that brought something again, and what is still missing of their cards."""
    said = [(s["file"], [s.get("learned", ""), *s.get("missing", [])]) for s in sheets]
    return [f"{file}: {text}" for file, texts in said for text in texts if text]


def _became(row: JsonObject) -> list[Component]:
    reasons = [html.Li(reason["sentence"]) for reason in row.get("reasons", [])]
    return [html.P(row["sentence"]), *([html.Ul(reasons, className="reasons")] if reasons else [])]


def held_card(rows: tuple[HeldView, ...]) -> Component:
    """Return the first of the held rows with every reason and the proposed mend."""
    people = queries.board().shop().people
    who = "" if signed() or not people else _people("Decided by ", "held-who")
    return card(
        "Held rows",
        html.P(held_sentence(len(rows)), id="sheets-held-count", className="small"),
        html.P(id="sheets-judged", className="small", role="status"),
        html.Div(who, className="decided no-print"),
        held_filter(rows) if len(rows) > SHOWN_HELD else "",
        html.Div(held_list(rows, 0), id="sheets-held-list"),
        decided_fold(),
    )


def held_sentence(rows: int) -> str:
    """Say how many rows wait."""
    if not rows:
        return "No row is held. Everything that came in was accepted."
    counted = words.counted(rows, "row waits", "rows wait")
    return f"{counted[:1].upper()}{counted[1:]} for a decision."


def judged_sentence() -> str:
    """Say that settled rows wait to be judged, nothing where all is judged."""
    if not queries.board().not_judged():
        return ""
    return "Stored. The charts and signals follow once no further decision comes for a moment."


def held_list(rows: tuple[HeldView, ...], first: int) -> Component:
    """Return one page of the held rows, those of one run told as one."""
    runs = _runs(rows)
    first = min(first, max(0, len(runs) - 1) // SHOWN_HELD * SHOWN_HELD)
    lines = [_held_row(run) for run in runs[first : first + SHOWN_HELD]]
    return html.Div([html.Ul(lines, className="held"), *_pager("held", first, SHOWN_HELD, len(runs))])


def _pager(name: str, first: int, shown: int, every: int) -> list[Component]:
    """Return the way to the pages before and after, nothing where there is one page."""
    if every <= shown:
        return []
    what = "Decisions" if name == "held" else "Sheets"
    said = f"{what} {first + 1} to {min(first + shown, every)} of {every}"
    parts: list[Any] = [html.Span(said, className="small")]
    turns = (("Earlier", first - shown, first > 0), ("Further", first + shown, first + shown < every))
    for said, to, there in turns:
        more = {"data-list": f"sheets-{name}-from", "data-from": str(to)}
        label = f"{said} rows" if name == "held" else f"{said} sheets"
        parts += [html.Button(label, type="button", **more)] if there else []
    return [html.Div(parts, className="ways pager no-print")]


def _runs(rows: tuple[HeldView, ...]) -> list[list[HeldView]]:
    """Put the rows of one run together: those that are one question."""
    runs: dict[str, list[HeldView]] = {}
    for row in rows:
        runs.setdefault(row.run or f"row {row.id}", []).append(row)
    return list(runs.values())


def _drop_card() -> Component:
    """Take sheets by drop or by choice: the button is for the keyboard and for phones."""
    shop = queries.board().shop()
    chooser = "" if signed() or not shop.people else _people("Handed in by ", "sheets-who")
    return html.Section(
        [
            html.P("Drop the sheets here", className="lead"),
            html.P("csv or xlsx, as many as there are, at most 64 MB in one go", className="small"),
            html.Div(
                [html.Button("Choose files", id="sheets-choose", className="do"), chooser],
                className="choose",
            ),
            html.Div(id="sheets-progress", role="status", **{"aria-live": "polite"}),
        ],
        id="sheets-drop",
        className="card drop no-print",
        **{"aria-label": "Upload sheets"},
    )


def _people(label: str, place: str) -> Component:
    people = [html.Option("choose a name", value="")]
    people += [html.Option(shown, value=code) for code, shown in queries.board().shop().people]
    return html.Label([label, html.Select(people, id=place)], className="who-select")


def _below() -> list[Component]:
    """List what is held and what came before; made anew after each receipt, so it must stand by itself."""
    past = html.Div(past_list(0), id="sheets-past-list")
    unread = queries.board().showing().waiting()
    waiting = [waiting_card(unread)] if unread else []
    return [*waiting, held_card(queries.board().held()), card("Past sheets", past)]


def past_list(first: int) -> list[Component]:
    """Return one page of the past sheets."""
    sheets = queries.board().sheets()
    if not sheets:
        return [nothing("No sheet has been handed in yet.")]
    rows = [
        [s.file, s.card, s.entered, s.who, f"{s.size / 1024:.1f} kB", str(s.held) if s.held else ""]
        for s in sheets[first : first + SHOWN_SHEETS]
    ]
    head = ["Sheet", "Card", "Handed in", "By", "Size", "Still held"]
    shown = table(head, rows, "Newest first; each is kept byte for byte", numbers=(4, 5))
    return [shown, *_pager("past", first, SHOWN_SHEETS, len(sheets))]


def _held_row(rows: list[HeldView]) -> Component:
    """Say what is held, where and why; rows of one run are told once and decided at once."""
    row, more = rows[0], rows[1:]
    named = ", ".join(part for part in (row.what, row.place) if part)
    about = [html.B(named or "row"), f" “{row.text}”" if row.text else ""]
    if row.serial:
        about += [" of ", serial_link(row.serial)]
    where = f"{row.file}, {row.cell}"
    if more:
        where += f", and {words.counted(len(more), 'row', 'rows')} more held alike, to {more[-1].cell}"
    reasons = [
        html.Li(
            [
                *unbroken(_own_words(reason.sentence, row.file)),
                html.Span(unbroken(f" {reason.mend}"), className="mend") if reason.mend else "",
            ]
        )
        for reason in row.reasons
    ]
    told = html.Div(
        [html.P(about), html.Span(where, className="small"), html.Ul(reasons, className="reasons")]
    )
    return html.Li([told, _decide(rows)], id=f"sheets-row-{row.id}", className="held-row")


def _decide(rows: list[HeldView]) -> Component:
    """Return how one row, or a run of rows at once, can be settled; the other ways come when asked for."""
    row = rows[0]
    many = len(rows) > 1
    where = f"{row.cell} of {row.file}"
    body: list[Any] = [Field("rows", "hidden", ",".join(r.id for r in rows))]
    if row.proposal:
        body.append(html.P(["Proposed: ", html.B(row.proposal)]))
        accept = {"data-mend": row.id, "aria-label": f"Accept {row.proposal} for {where}"}
        said = f"Accept all {len(rows)}" if many else "Accept this"
        body.append(submit(said, "decision", "proposal", **accept))
    else:
        body.append(html.P("No mend offers itself.", className="small"))
    title = "Decide otherwise" if row.proposal else f"Decide all {len(rows)} at once" if many else "Decide"
    ways = html.Div(id=f"sheets-ways-{row.id}")
    body.append(html.Details([html.Summary(title), ways], className="decide", **{"data-ways": row.id}))
    form = desk_form("/held/decide", "", body, f"sheets-decide-{row.id}")
    return html.Div(form, className="offer no-print")


def ways_of(rows: tuple[HeldView, ...], row_id: str) -> Component | None:
    """Return the ways a row, with its run, can be settled otherwise; None where it is no longer held."""
    run = next((run for run in _runs(rows) if run[0].id == row_id), None)
    return None if run is None else html.Div(_ways(run))


def _ways(rows: list[HeldView]) -> list[Component]:
    row, many = rows[0], len(rows) > 1
    where = f"{row.cell} of {row.file}"
    # One figure cannot be right for several places, but one serial, day or unit can.
    columns = [(c, COLUMN_WORDS.get(c, c)) for c, _ in row.columns if not (many and c == "value")]
    ways: list[Any] = []
    if columns:
        ways += [
            choice("Type anew", "column", columns),
            line(f"In place of “{row.text}”" if row.text else "It should read", "value"),
            submit("Use this", "decision", "by-hand", **{"aria-label": f"Use this for {where}"}),
        ]
    last = []
    if many and row.proposal:
        last.append(submit("Accept only the first", "decision", "proposal-first"))
    if all(r.doubt for r in rows):
        last.append(submit("It is right as typed", "decision", "as-typed"))
    last.append(submit("Set aside", "decision", "drop", **{"aria-label": f"Set aside {where}"}))
    note = "A row set aside is not used; it stays on record as typed."
    return [*ways, html.Div(last, className="ways"), html.P(note, className="small")]


def _signal_link(signal: JsonObject) -> Component:
    return dcc.Link(signal["sentence"], href=address("/signals/<signal>", {"signal": signal["id"]}))


def _own_words(sentence: str, file: str) -> str:
    """Leave out of a reason where the row stands; that is said above it already."""
    if not sentence.startswith(file):
        return sentence
    rest = sentence.partition(": ")[2]
    return rest[:1].upper() + rest[1:] if rest else sentence


def _receipt_sentence(receipt: JsonObject) -> str:
    """Say in one sentence what became of the sheets handed in."""
    sheets, refused = receipt.get("sheets", []), receipt.get("refused", [])
    accepted, held, known = (sum(s[name] for s in sheets) for name in ("accepted", "held", "already_known"))
    parts = []
    if sheets:
        parts.append(f"{accepted} rows accepted from {words.counted(len(sheets), 'sheet', 'sheets')}")
        again = sum(s.get("held_again", 0) for s in sheets)
        before = f" ({again} of them already)" if 0 < again < held else " already" if again else ""
        parts.append(f"{held} held{before}" if held else "none held")
    if known:
        parts.append(f"{known} known already")
    if refused:
        asked = sum(bool(question["columns"]) for question in receipt.get("questions", []))
        why = "wait for your answer above" if asked == len(refused) else "could not be read"
        why = why.replace("wait", "waits") if asked == len(refused) == 1 else why
        parts.append(f"{words.counted(len(refused), 'sheet', 'sheets')} {why}")
    return f"{', '.join(parts) or 'nothing came in'}.".capitalize()


def _receipt_table(sheets: list[JsonObject]) -> Component:
    rows = [
        [
            sheet["file"],
            str(sheet["rows"]),
            str(sheet["accepted"]),
            str(sheet["held"]),
            str(sheet["already_known"]),
            ", ".join(f"{reason.replace('-', ' ')} ({count})" for reason, count in sheet["reasons"].items()),
        ]
        for sheet in sheets
    ]
    head = ["Sheet", "Rows", "Accepted", "Held", "Known already", "Why held"]
    return table(head, rows, "What became of each sheet", numbers=(1, 2, 3, 4))


def _title(**_: str) -> str:
    return "Sheets"


PAGE = Page("/sheets", "/sheets", layout, _title, nav="Sheets", register=register)
