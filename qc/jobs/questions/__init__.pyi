"""Types of what `qc.jobs.questions` offers; the package fetches each name on first use."""

from .asked import CHART_KINDS as CHART_KINDS
from .asked import STUDY_OPTIONS as STUDY_OPTIONS
from .asked import takers as takers
from .averages import average as average
from .factors import chart_factors as chart_factors
from .factors import limit_factors as limit_factors
from .factors import t2_limits as t2_limits
from .fits import fit_of_limits as fit_of_limits
from .gauge import gauge_agreement as gauge_agreement
from .gauge import gauge_linearity as gauge_linearity
from .gauge import gauge_study as gauge_study
from .gauge_days import gauge_check_standard as gauge_check_standard
from .gauge_days import gauge_over_days as gauge_over_days
from .reading_worth import ReadingWorth as ReadingWorth
from .reading_worth import WhatIf as WhatIf
from .reading_worth import worth_of_readings as worth_of_readings
from .run_length import run_lengths as run_lengths
from .studies import study as study
from .uncertainties import uncertainty as uncertainty
