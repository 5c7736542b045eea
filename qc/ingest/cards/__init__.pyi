"""Types of what `qc.ingest.cards` offers; the package fetches each name on first use."""

from .confirming import MappingError as MappingError
from .confirming import mappings_text as mappings_text
from .confirming import proposal_text as proposal_text
from .confirming import read_mapping as read_mapping
from .layout import Column as Column
from .layout import part_sheet as part_sheet
from .mapping import BESIDE as BESIDE
from .mapping import ORDERS as ORDERS
from .mapping import CardMapping as CardMapping
from .mapping import Mappings as Mappings
from .mapping import ReadAs as ReadAs
from .questions import DateQuestion as DateQuestion
from .questions import HeadingsUnknown as HeadingsUnknown
from .questions import SheetQuestion as SheetQuestion
from .questions import ask_dates as ask_dates
from .recognition import VALUE as VALUE
from .recognition import CardSheet as CardSheet
from .recognition import card_characteristics as card_characteristics
from .recognition import plan_names as plan_names
from .recognition import recognise_card as recognise_card
from .rows import Row as Row
from .rows import RowReader as RowReader
from .straight import read_cards as read_cards
from .verdicts import read_verdict as read_verdict
