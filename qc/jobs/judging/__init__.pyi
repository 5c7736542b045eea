"""Types of what `qc.jobs.judging` offers; the package fetches each name on first use."""

from .looking_back import SignalOfDay as SignalOfDay
from .looking_back import signals_of_day as signals_of_day
from .looking_back import verdicts_of_day as verdicts_of_day
from .rates import present_budget as present_budget
from .verdicts import at_latest as at_latest
from .verdicts import decisions_of as decisions_of
from .verdicts import judge_new as judge_new
from .verdicts import judge_now as judge_now
from .verdicts import judge_series as judge_series
from .verdicts import load_verdicts as load_verdicts
