"""What the room offers."""

from .findings import FoundChange as FoundChange
from .findings import apart_from as apart_from
from .kept_states import KeptStates as KeptStates
from .kept_states import kept_states_from as kept_states_from
from .kept_states import plain_kept_states as plain_kept_states
from .kept_states import with_later_marks as with_later_marks
from .level_course import LevelCourse as LevelCourse
from .named_start import begun_with as begun_with
from .named_start import result_of as result_of
from .tool_lines import change_day_of as change_day_of
from .tool_lines import fittings as fittings
from .tool_lines import forecast_rests_on as forecast_rests_on
from .tool_lines import left_line_at as left_line_at
from .tool_lines import weekly_pace as weekly_pace
from .worn_course import WornCourse as WornCourse
from .worn_course import course_of as course_of
