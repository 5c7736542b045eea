"""The report as one page for a browser: no script, nothing loaded from anywhere."""

from __future__ import annotations

from importlib import resources

from qc.report.month.content import MonthContent
from qc.report.month.panel import Drawings, draw_all
from qc.report.month.template_data import plain_content

TEMPLATE = "month.html.j2"


def month_html(content: MonthContent, drawings: Drawings | None = None) -> str:
    """Write the month's report as one html page.

    Parameters
    ----------
    content : MonthContent
        What it says.
    drawings : Drawings, optional
        From `draw_all`, where the pdf has them too; drawn here when left out.

    Returns
    -------
    str
        A complete page; every text is escaped, drawings stand in it as SVG.
    """
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    text = resources.files("qc.report.month").joinpath(TEMPLATE).read_text("utf-8")
    page = Environment(
        undefined=StrictUndefined, autoescape=True, trim_blocks=True, lstrip_blocks=True
    ).from_string(text)
    drawn = drawings or draw_all(content)
    pictures = {key: Markup(_inline(svg)) for key, svg in drawn.pictures.items()}
    drawings_of = {key: Markup(_inline(svg)) for key, svg in drawn.panels.items()}
    checked = {key: Markup(_inline(svg)) for key, svg in drawn.gauges.items()}
    return page.render(
        pictures=pictures, drawings=drawings_of, gauge_drawings=checked, **plain_content(content)
    )


def _inline(svg: bytes) -> str:
    """Keep only the drawing itself: the XML header has no place inside a page."""
    text = svg.decode("utf-8")
    return text[text.index("<svg") :]
