"""A gauge study from a file: the form that takes it, and the answer as a sentence, a table and one chart."""

from __future__ import annotations

import math
import re
from typing import Any, Final

from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard import queries, words
from dashboard.door import Role, needs
from dashboard.fields import Field, desk_form, line, submit
from dashboard.figures import draw_study
from dashboard.figures.checks import SOURCES
from dashboard.parts import card, chart, figures, table
from qc.jobs.board import Ticket
from qc.plain import JsonObject

DONE: Final = "gauges-done"
PERCENT: Final = 100
OPTION: Final = re.compile(r"\s*\(--[^)]*\)")


def study_card() -> Component:
    """Return the form of a gauge study; its answer appears under it."""
    said = (
        "A file of repeated readings: several people measure the same few pieces several times. One reading "
        "a row, names in the first row. Nothing of it is stored."
    )
    columns = [
        line("Column of the reading", "value", "value"),
        line("Column of the part", "part", "part"),
        line("Column of the person", "person", "person"),
    ]
    limits = [
        line("Lower limit", "lower"),
        line("Upper limit", "upper"),
        line("Step of the gauge", "resolution"),
    ]
    chooser = html.Label(
        [html.Span("csv or xlsx file"), Field("study", "file", accept=".csv,.xlsx")], className="field"
    )
    note = (
        "With limits the gauge is also held against the tolerance. Leave the person empty where one measured "
        "alone."
    )
    body = [
        chooser,
        html.Div(columns, className="fields"),
        html.Div(limits, className="fields"),
        html.P(note, className="small"),
        submit("Study this gauge", "do", "study", "do"),
    ]
    form = desk_form("/gauges/study", DONE, body, "gauges-study", "Working it out …")
    return html.Div(
        [
            card("A gauge study from a file", html.P(said, className="small"), form, className="no-print"),
            html.Div(id="gauges-answer", role="status", className="stack", **{"aria-live": "polite"}),
            dcc.Store(id=DONE),
        ],
        className="stack",
    )


def register(app: Dash) -> None:
    """Add the callback that shows the answer of a study."""

    @needs(Role.TECHNICIAN)
    def show_study(ticket: str) -> list[Component]:
        """Return the answer of a study."""
        found = queries.ticket(ticket, "study")
        return [answer_card(found)] if found else []

    shown = Output("gauges-answer", "children")
    app.callback(shown, Input(DONE, "data"), prevent_initial_call=True)(show_study)


def answer_card(found: Ticket) -> Component:
    """Return what a study found: the verdict, the chart, the spreads, what to know before believing it."""
    if found["state"] != "done" or found["receipt"] is None:
        return card("No answer", html.P(found["message"], className="lead"), className="warn")
    receipt = found["receipt"]
    study, value = receipt["study"], receipt["value"]
    size = (
        f"{value} in {receipt['file']}: {study['parts']} parts, "
        f"{words.counted(study['persons'], 'person', 'persons')}, "
        f"{words.counted(study['repeats'], 'reading', 'readings')} each."
    )
    label = f"Spread by source. {study['verdict']}"
    warnings = [html.P(f"{_plain(text)}.", className="small") for text in study["warnings"]]
    return card(
        "What the study found",
        html.P(study["verdict"], className="lead"),
        *([html.P(study["advice"])] if study["advice"] else []),
        html.P(size, className="small"),
        chart("gauges-study-chart", draw_study(study, value), label),
        table(
            ["Spread", "sd", "from", "to", "Share of all spread"],
            _rows(study),
            "By source",
            numbers=(1, 2, 3, 4),
        ),
        figures(_shares(study)),
        *warnings,
        className="answer",
    )


def _rows(study: JsonObject) -> list[list[str]]:
    total = study["sd"]["total"]
    rows = []
    for name, said in {**SOURCES, "total": "all readings"}.items():
        if name not in study["sd"] or (name == "person_part" and study["pooled"]):
            continue
        sd, interval = study["sd"][name], study["intervals"].get(name)
        ends = [f"{math.sqrt(max(end, 0.0)):.4g}" for end in interval] if interval else ["", ""]
        share = f"{PERCENT * sd / total:.0f} %" if total else ""
        rows.append([said, f"{sd:.4g}", *ends, share])
    return rows


def _plain(warning: str) -> str:
    """Say a warning without the command's options and names."""
    said = OPTION.sub("", warning).replace("person_part", SOURCES["person_part"])
    return said[:1].upper() + said[1:].rstrip(".")


def _shares(study: JsonObject) -> list[tuple[str, Any]]:
    """Say the gauge's share of the spread, and of the variance: the two are easily confused."""
    rows: list[tuple[str, Any]] = []
    for name, said in (("variation", "Gauge, of all spread (sd)"), ("tolerance", "Gauge, of the tolerance")):
        share, interval = study[f"share_of_{name}"], study["intervals"].get(f"share_of_{name}")
        if share is not None:
            sure = f" ({PERCENT * interval[0]:.0f} to {PERCENT * interval[1]:.0f})" if interval else ""
            rows.append((said, f"{PERCENT * share:.1f} %{sure}"))
        if share is not None and name == "variation":
            rows.append(("Gauge, of all variance (its square)", f"{PERCENT * share**2:.1f} %"))
    if study["categories"] is not None:
        rows.append(("Groups of parts told apart", f"{study['categories']} (five or more for a chart)"))
    guard = study.get("guard_band")
    if guard:
        rows.append(("One reading proves a piece good", _zone(guard)))
    return rows


def _zone(guard: JsonObject) -> str:
    if not guard["possible"]:
        return "never; take a finer gauge"
    low, high = guard["accept"]
    ends = [f"from {low:.5g}" if low is not None else "", f"up to {high:.5g}" if high is not None else ""]
    return " ".join(end for end in ends if end)
