"""The report as pdf: content and drawings handed to the typesetter in memory."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path
from typing import Any

from qc.report.content import MonthContent
from qc.report.panel import draw_panel, draw_spark
from qc.report.words import month_words, panel_lines, plain_content

TEMPLATE = "month.typ"


def month_pdf(content: MonthContent) -> bytes:
    """Typeset the month's report.

    Parameters
    ----------
    content : MonthContent
        What it says.

    Returns
    -------
    bytes
        A tagged pdf with its fonts embedded: two pages, then the panels, the capability table and the
        methods.

    Notes
    -----
    Only the fonts that come with the drawing library are used, so that the same content gives the same pages
    on every machine.
    """
    import matplotlib
    import typst

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    template = resources.files("qc.report").joinpath(TEMPLATE).read_bytes()
    return typst.compile(
        template,
        font_paths=[fonts],
        ignore_system_fonts=True,
        format="pdf",
        sys_inputs=_inputs(content),
        timestamp=_stamp(content),
    )


def _inputs(content: MonthContent) -> dict[str, str]:
    """Return everything the template asks for by name: the words as JSON, the drawings as SVG."""
    inputs: dict[str, str] = {}
    data: dict[str, Any] = plain_content(content)
    verdicts = {str(v.key): v for v in content.verdicts}
    for number, change in enumerate(data["changes"]):
        name = f"spark{number}"
        inputs[name] = draw_spark(verdicts[change["key"]]).decode("utf-8")
        change["spark"] = name
    data["panels"] = []
    for number, verdict in enumerate(content.verdicts):
        if not verdict.points:
            continue
        name = f"panel{number}"
        inputs[name] = draw_panel(verdict).decode("utf-8")
        data["panels"].append({**panel_lines(verdict), "file": name})
    data["title"] = f"{content.workshop}: {month_words(content.month)}"
    inputs["data"] = json.dumps(data, ensure_ascii=False, default=str)
    return inputs


def _stamp(content: MonthContent) -> int:
    """Days since 1970 as seconds: the pdf carries the day it speaks of, not the moment it was made."""
    return (content.as_of.toordinal() - 719_163) * 86_400
