"""Types of what `qc.report.terminal` offers; the package fetches each name on first use."""

from .checks import checks_text as checks_text
from .gauge import agreement_text as agreement_text
from .gauge import gauge_text as gauge_text
from .gauge import linearity_text as linearity_text
from .gauge_days import check_standard_text as check_standard_text
from .gauge_days import over_days_text as over_days_text
from .run_lengths import estimated_text as estimated_text
from .run_lengths import run_lengths_text as run_lengths_text
from .study import study_text as study_text
