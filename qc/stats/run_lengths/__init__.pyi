"""Types of what `qc.stats.run_lengths` offers; the package fetches each name on first use."""

from .chain import NeverSignals as NeverSignals
from .chain import RunLength as RunLength
from .chain import false_alarms as false_alarms
from .chain import run_length_of_chain as run_length_of_chain
from .chain import shewhart_factor as shewhart_factor
from .chain import shewhart_run_length as shewhart_run_length
from .estimated import EstimatedLimits as EstimatedLimits
from .estimated import estimated_limits as estimated_limits
from .estimated import guaranteed_run_length_factor as guaranteed_run_length_factor
from .memory import cusum_decision as cusum_decision
from .memory import cusum_run_length as cusum_run_length
from .memory import ewma_run_length as ewma_run_length
from .memory import ewma_width as ewma_width
from .rules import ZoneRule as ZoneRule
from .rules import rule_run_length as rule_run_length
from .several import mewma_limit as mewma_limit
from .several import mewma_run_length as mewma_run_length
from .several import mewma_run_length_distribution as mewma_run_length_distribution
from .sigma import SigmaEstimate as SigmaEstimate
from .sigma import sigma_estimate as sigma_estimate
from .worth import moving_range_df as moving_range_df
from .worth import subgroup_df as subgroup_df
