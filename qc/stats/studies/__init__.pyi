"""Types of what `qc.stats.studies` offers; the package fetches each name on first use."""

from .check_result import FIGURES as FIGURES
from .check_result import Check as Check
from .check_result import ChecksTogether as ChecksTogether
from .check_result import SeriesChecks as SeriesChecks
from .check_result import checks_together as checks_together
from .checks import study_checks as study_checks
from .fit import check_fit as check_fit
from .fit import question_of as question_of
from .kinds import KINDS as KINDS
from .kinds import takers as takers
from .options import OPTIONS as OPTIONS
from .options import StudyOptions as StudyOptions
from .options import columns as columns
from .options import complete as complete
from .options import given as given
from .p_values import corrected_p_values as corrected_p_values
from .p_values import grubbs_p_value as grubbs_p_value
from .p_values import lag_1_interval as lag_1_interval
from .p_values import mean_change_p_value as mean_change_p_value
from .p_values import target_change_p_value as target_change_p_value
from .question import StudyQuestion as StudyQuestion
from .series import SeriesStudy as SeriesStudy
from .series import study_frame as study_frame
