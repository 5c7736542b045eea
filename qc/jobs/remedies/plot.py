"""`--plot`: a remedy drawn into a file."""

from __future__ import annotations

from pathlib import Path

from qc.jobs.remedies.coating import CoatResult
from qc.jobs.remedies.errors import RemedyUsageError
from qc.jobs.remedies.pairing import PairResult
from qc.jobs.remedies.recording import RecordingResult
from qc.jobs.remedies.tool_wear import WearResult
from qc.jobs.remedies.tuning import TuneResult
from qc.report.drawings import draw_coat, draw_pairs, draw_tuning, draw_wear

SUFFIXES = (".png", ".svg", ".pdf")


def draw_remedy(
    result: TuneResult | PairResult | WearResult | CoatResult | RecordingResult, path: Path
) -> None:
    """Draw a remedy into a file.

    Parameters
    ----------
    result : TuneResult, PairResult, WearResult, CoatResult or RecordingResult
        What a remedy command answered.
    path : Path
        Ends in .png, .svg or .pdf.

    Raises
    ------
    RemedyUsageError
        Another suffix, a folder that is not there, or a recording without the card that says what was to
        be heard: there is no remedy to draw.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    if path.suffix.lower() not in SUFFIXES:
        raise RemedyUsageError(f"--plot {path.name}: a drawing ends in {', '.join(SUFFIXES)}")
    if not path.parent.is_dir():
        raise RemedyUsageError(f"--plot {path.parent}: there is no such folder. Make it first")
    if isinstance(result, RecordingResult):
        raise RemedyUsageError(
            "--plot draws a remedy, and a recording alone has none. Give the card of its notes as well: "
            f"qc tune CARD --wav {result.name} --plot {path.name}"
        )
    figure = Figure(figsize=(8.0, 4.8), layout="constrained")
    FigureCanvasAgg(figure)
    if isinstance(result, TuneResult):
        draw_tuning(figure, result.remedy)
    elif isinstance(result, PairResult):
        limits, runs = (result.lower_um, result.upper_um), (result.inner_run, result.outer_run)
        inner, outer = ((run.side, run.means_mm, run.drifting) for run in runs)
        draw_pairs(figure, result.pairing, limits, inner, outer)
    elif isinstance(result, WearResult):
        tools = [(tool.tool, tool.counts, tool.values, tool.line) for tool in result.tools]
        draw_wear(figure, tools, result.value, result.against)
    else:
        draw_coat(figure, result.areas, result.spots, result.nominal_um, result.lower_um)
    figure.savefig(path, dpi=150)
