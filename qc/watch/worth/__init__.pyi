"""Types of what `qc.watch.worth` offers; the package fetches each name on first use."""

from .advising import change_words as change_words
from .advising import told_words as told_words
from .asking import LAST as LAST
from .asking import inside_at as inside_at
from .asking import seen_within as seen_within
from .beside import figures_by_piece as figures_by_piece
from .beside import said_by_others as said_by_others
from .courses import COUNTED_COURSES as COUNTED_COURSES
from .courses import COURSES as COURSES
from .courses import LENGTH as LENGTH
from .courses import SEED as SEED
from .results import Advice as Advice
from .results import BenchCost as BenchCost
from .results import Delay as Delay
from .results import FigureWorth as FigureWorth
from .results import FoundByIt as FoundByIt
from .results import GaugePart as GaugePart
from .results import InsideAtLimit as InsideAtLimit
from .results import SeenWithin as SeenWithin
from .results import SettledState as SettledState
from .settled import gauge_part as gauge_part
from .settled import settled_pieces as settled_pieces
from .settled import settled_state as settled_state
from .settled import spread_by_checks as spread_by_checks
from .weighing import courses_for as courses_for
from .weighing import weigh as weigh
