"""Types of what `qc.report.month` offers; the package fetches each name on first use."""

from .blocks import change_lines as change_lines
from .blocks import data_gaps as data_gaps
from .blocks import decisions as decisions
from .blocks import die_lines as die_lines
from .blocks import evidence_words as evidence_words
from .blocks import gauge_lines as gauge_lines
from .blocks import reaction_lines as reaction_lines
from .blocks import return_lines as return_lines
from .blocks import rework_lines as rework_lines
from .blocks import shipped_models as shipped_models
from .blocks import stage_yields as stage_yields
from .content import Change as Change
from .content import DieLine as DieLine
from .content import Gap as Gap
from .content import GaugeLine as GaugeLine
from .content import MonthContent as MonthContent
from .content import PieceToHold as PieceToHold
from .content import Reaction as Reaction
from .content import Rework as Rework
from .content import Yield as Yield
from .content import rolled_yield as rolled_yield
from .html import month_html as month_html
from .panel import Drawings as Drawings
from .panel import draw_all as draw_all
from .pdf import month_pdf as month_pdf
from .workbook import month_workbook as month_workbook
