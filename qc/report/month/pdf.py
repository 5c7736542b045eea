"""The report as pdf: content and drawings handed to the typesetter in memory."""

from __future__ import annotations

import json
from importlib import resources
from importlib.util import find_spec
from pathlib import Path

from qc.errors import MachineError
from qc.report.month.content import MonthContent
from qc.report.month.panel import Drawings, draw_all
from qc.report.month.template_data import plain_content

TEMPLATE = "month.typ"


def month_pdf(content: MonthContent, drawings: Drawings | None = None) -> bytes:
    """Typeset the month's report.

    Parameters
    ----------
    content : MonthContent
        What it says.
    drawings : Drawings, optional
        From `draw_all`, where the page has them too; drawn here when left out.

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
    # heavy libraries are loaded where a report is made: no other command need wait for them
    import typst

    fonts = typst.Fonts(include_system_fonts=False, font_paths=[_font_folder()])
    template = resources.files("qc.report.month").joinpath(TEMPLATE).read_bytes()
    return typst.compile(
        template,
        font_paths=fonts,
        format="pdf",
        sys_inputs=_inputs(content, drawings or draw_all(content)),
        timestamp=_stamp(content),
    )


def _font_folder() -> Path:
    """Return where the drawing library keeps its fonts, without loading it: that takes a fifth of a second.

    Raises
    ------
    MachineError
        The library is not installed whole.
    """
    found = find_spec("matplotlib")
    folder = Path(found.origin).parent / "mpl-data" / "fonts" / "ttf" if found and found.origin else None
    if folder is None or not folder.is_dir():
        raise MachineError(
            "The fonts of the report are missing: matplotlib is not installed whole. Install it again."
        )
    return folder


def _inputs(content: MonthContent, drawings: Drawings) -> dict[str, str]:
    """Return everything the template asks for by name: the words as JSON, the drawings as SVG."""
    return {
        "data": json.dumps(plain_content(content), ensure_ascii=False, default=str),
        **{f"picture {key}": svg.decode("utf-8") for key, svg in drawings.pictures.items()},
        **{f"gauge {key}": svg.decode("utf-8") for key, svg in drawings.gauges.items()},
        **{f"panel {key}": svg.decode("utf-8") for key, svg in drawings.panels.items()},
    }


def _stamp(content: MonthContent) -> int:
    """Days since 1970 as seconds: the pdf carries the day it speaks of, not the moment it was made."""
    return (content.as_of.toordinal() - 719_163) * 86_400
