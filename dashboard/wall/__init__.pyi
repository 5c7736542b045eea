"""Types of what `dashboard.wall` offers; the package fetches each name on first use."""

from .day_sheet import add_day_sheet as add_day_sheet
from .hanging import LOOKS as LOOKS
from .hanging import add_wall as add_wall
