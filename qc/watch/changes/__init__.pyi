"""What the room offers."""

from .kept_states import KeptStates as KeptStates
from .kept_states import kept_states_from as kept_states_from
from .kept_states import plain_kept_states as plain_kept_states
from .level_course import find_changes as find_changes
from .sizing import Finding as Finding
from .tool_lines import fittings as fittings
from .tool_lines import forecast_wear as forecast_wear
from .tool_lines import in_use as in_use
from .tool_lines import line_ends as line_ends
from .tool_lines import line_limits as line_limits
from .tool_lines import own_fitting as own_fitting
from .tool_lines import worn_tool as worn_tool
