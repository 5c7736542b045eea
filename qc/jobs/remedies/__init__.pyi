"""Types of what `qc.jobs.remedies` offers; the package fetches each name on first use."""

from .cards import figure_of_plan as figure_of_plan
from .coating import CoatResult as CoatResult
from .coating import coat as coat
from .instruments import model_of as model_of
from .pairing import PairResult as PairResult
from .pairing import pair as pair
from .planned import Given as Given
from .planned import given as given
from .planned import only_model as only_model
from .planned import planned_limits as planned_limits
from .plot import draw_remedy as draw_remedy
from .sheet import read_sheet as read_sheet
from .sheet import with_taken as with_taken
from .source import coat_from as coat_from
from .source import pair_from as pair_from
from .source import tune_from as tune_from
from .source import wear_from as wear_from
from .tool_wear import WearResult as WearResult
from .tool_wear import wear as wear
from .tuning import TuneResult as TuneResult
from .tuning import tune as tune
