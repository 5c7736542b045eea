"""Types of what `dashboard.printed` offers; the package fetches each name on first use."""

from .blanks import add_routes as add_routes
from .blanks import blanks_card as blanks_card
