"""Types of what `qc.report` offers; the package fetches each name on first use."""

from .month import Change as Change
from .month import DieLine as DieLine
from .month import Drawings as Drawings
from .month import Gap as Gap
from .month import GaugeLine as GaugeLine
from .month import MonthContent as MonthContent
from .month import Reaction as Reaction
from .month import Rework as Rework
from .month import Yield as Yield
from .month import draw_all as draw_all
from .month import evidence_words as evidence_words
from .month import month_html as month_html
from .month import month_pdf as month_pdf
from .month import month_workbook as month_workbook
from .month import rolled_yield as rolled_yield
