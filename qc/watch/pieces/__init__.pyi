"""Types of what `qc.watch.pieces` offers; the package fetches each name on first use."""

from .cells import cells_of as cells_of
from .figures import PLACE_WORDS as PLACE_WORDS
from .figures import PieceFigure as PieceFigure
from .figures import limited as limited
from .figures import piece_figures as piece_figures
from .figures import place_words as place_words
from .genealogy import PartUse as PartUse
from .genealogy import homes as homes
from .genealogy import part_uses as part_uses
from .genealogy import way_up as way_up
from .saying import is_bad as is_bad
from .saying import nearest_limit as nearest_limit
from .saying import outside_words as outside_words
from .saying import pieces_in as pieces_in
