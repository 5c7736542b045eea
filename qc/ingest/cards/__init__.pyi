"""Types of what `qc.ingest.cards` offers; the package fetches each name on first use."""

from .asked_plan import CardQuestion as CardQuestion
from .asked_plan import figure_name as figure_name
from .layout import Column as Column
from .layout import part_sheet as part_sheet
from .question import AskedRow as AskedRow
from .question import AskedTable as AskedTable
from .question import first_line as first_line
from .question import is_one_table as is_one_table
from .question import read_asked as read_asked
from .recognition import VALUE as VALUE
from .recognition import CardSheet as CardSheet
from .recognition import card_characteristics as card_characteristics
from .recognition import plan_names as plan_names
from .recognition import recognise_card as recognise_card
from .rows import Row as Row
from .rows import RowReader as RowReader
from .straight import read_cards as read_cards
from .verdicts import read_verdict as read_verdict
