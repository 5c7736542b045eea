"""Types of what `qc.jobs.printed` offers; the package fetches each name on first use."""

from .blanks import CARD_FILES as CARD_FILES
from .blanks import BlankCards as BlankCards
from .blanks import WrittenCard as WrittenCard
from .blanks import blank_file as blank_file
from .blanks import write_cards as write_cards
