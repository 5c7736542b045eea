from .layout import Column, part_sheet
from .recognition import VALUE, CardSheet, card_characteristics, plan_names, recognise_card
from .rows import Row, RowReader, read_verdict

__all__ = [
    "CardSheet",
    "Column",
    "Row",
    "RowReader",
    "VALUE",
    "card_characteristics",
    "part_sheet",
    "plan_names",
    "read_verdict",
    "recognise_card",
]
