from .dates import (
    BARE,
    SERIAL,
    SPREADSHEET_FIRST,
    SPREADSHEET_LAST,
    nearest_year,
    read_moment,
    spreadsheet_day,
)
from .names import FACTORS, Heading, heading, plain, split_unit
from .numbers import COMMA_NOTE, read_number, read_whole

__all__ = [
    "BARE",
    "COMMA_NOTE",
    "FACTORS",
    "Heading",
    "SERIAL",
    "SPREADSHEET_FIRST",
    "SPREADSHEET_LAST",
    "heading",
    "nearest_year",
    "plain",
    "read_moment",
    "read_number",
    "read_whole",
    "split_unit",
    "spreadsheet_day",
]
