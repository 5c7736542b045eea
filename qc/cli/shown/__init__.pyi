"""Types of what `qc.cli.shown` offers; the package fetches each name on first use."""

from .fitting import fitted as fitted
from .painting import painted as painted
