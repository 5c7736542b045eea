"""Types of what `qc.ingest.layouts` offers; the package fetches each name on first use."""

from .as_yaml import layouts_text as layouts_text
from .cutting import LaidRow as LaidRow
from .cutting import lay_out as lay_out
from .cutting import lines_of as lines_of
from .cutting import not_taken as not_taken
from .fitting import differing as differing
from .fitting import nearest as nearest
from .from_yaml import read_layouts as read_layouts
from .shown import FACTS as FACTS
from .shown import LaidTable as LaidTable
from .shown import Pieces as Pieces
from .shown import Pointed as Pointed
from .shown import SheetLayout as SheetLayout
from .shown import ShownFigure as ShownFigure
from .shown import figure_named as figure_named
