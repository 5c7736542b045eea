"""Types of what `qc.watch.pieces` offers; the package fetches each name on first use."""

from .cells import cells_of as cells_of
from .figures import PLACE_WORDS as PLACE_WORDS
from .figures import PieceFigure as PieceFigure
from .figures import limited as limited
from .figures import piece_figures as piece_figures
from .figures import place_words as place_words
from .first_pass import FAILING as FAILING
from .first_pass import FEW as FEW
from .first_pass import PLAY_TEST as PLAY_TEST
from .first_pass import NotPassed as NotPassed
from .first_pass import StageYield as StageYield
from .first_pass import play_test_stage as play_test_stage
from .first_pass import rolled as rolled
from .first_pass import stage_yield as stage_yield
from .genealogy import PartUse as PartUse
from .genealogy import homes as homes
from .genealogy import part_uses as part_uses
from .genealogy import way_up as way_up
from .loose import loose_tubes as loose_tubes
from .rework import ReworkCause as ReworkCause
from .rework import rework_causes as rework_causes
from .rework import summed as summed
from .saying import is_bad as is_bad
from .saying import nearest_limit as nearest_limit
from .saying import outside_words as outside_words
from .saying import pieces_in as pieces_in
