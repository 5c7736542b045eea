"""Types of what `qc.report.cards` offers; the package fetches each name on first use."""

from .book import card_workbook as card_workbook
from .laid import LEFT_BLANK as LEFT_BLANK
from .laid import BlankCard as BlankCard
from .laid import Box as Box
from .laid import blank_card as blank_card
from .sheet import card_pdf as card_pdf
