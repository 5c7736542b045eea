"""Types of what `qc.report.tags` offers; the package fetches each name on first use."""

from .sheet import HoldTag as HoldTag
from .sheet import tags_pdf as tags_pdf
