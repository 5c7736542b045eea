"""Figures in, documents out: the month's report as pdf, page and workbook."""

from __future__ import annotations

from qc.report.content import (
    Change,
    DieLine,
    Gap,
    GaugeLine,
    MonthContent,
    Reaction,
    Rework,
    Yield,
    rolled_yield,
)
from qc.report.html import month_html
from qc.report.panel import Drawings, draw_all
from qc.report.pdf import month_pdf
from qc.report.words import evidence_words
from qc.report.workbook import month_workbook

__all__ = [
    "Change",
    "DieLine",
    "Drawings",
    "Gap",
    "GaugeLine",
    "MonthContent",
    "Reaction",
    "Rework",
    "Yield",
    "draw_all",
    "evidence_words",
    "month_html",
    "month_pdf",
    "month_workbook",
    "rolled_yield",
]
