"""Types of what `qc.watch.gauges` offers; the package fetches each name on first use."""

from .checked import GaugeStanding as GaugeStanding
from .checked import check_is_good as check_is_good
from .checked import gauge_standing as gauge_standing
from .checked import is_off as is_off
from .checked import next_working_day as next_working_day
from .checked import runs_out_soon as runs_out_soon
from .course import CHECK_RATE as CHECK_RATE
from .course import GaugeChange as GaugeChange
from .course import gauge_changes as gauge_changes
from .course import gauge_moved_sentence as gauge_moved_sentence
from .course import gauge_moved_steps as gauge_moved_steps
from .course import standing_change as standing_change
from .in_doubt import FoundOff as FoundOff
from .in_doubt import found_off as found_off
from .in_doubt import was_zeroed as was_zeroed
from .masters import MasterCheck as MasterCheck
from .masters import is_zero as is_zero
from .masters import lines_of as lines_of
from .masters import masters_words as masters_words
from .masters import worst_of_days as worst_of_days
