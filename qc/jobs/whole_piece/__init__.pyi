"""Types of what `qc.jobs.whole_piece` offers; the package fetches each name on first use."""

from .figures import Among as Among
from .figures import FigureOfPiece as FigureOfPiece
from .figures import Form as Form
from .in_signals import SignalOfPiece as SignalOfPiece
from .leaving import Leaving as Leaving
from .life import PieceEvent as PieceEvent
from .life import Remedy as Remedy
from .life import Return as Return
from .life import event_sentence as event_sentence
from .maps import MapCell as MapCell
from .maps import PlaceMap as PlaceMap
from .maps import grid_of as grid_of
from .parts import PartOfPiece as PartOfPiece
from .passport import PassportFile as PassportFile
from .passport import write_passport as write_passport
from .places import PlaceFigure as PlaceFigure
from .record import PieceRecord as PieceRecord
from .record import piece_record as piece_record
from .saying import among_words as among_words
from .saying import form_lines as form_lines
from .saying import limits_of as limits_of
from .saying import shared_words as shared_words
from .saying import signed as signed
from .serials import nearest_to as nearest_to
from .sharing import Shared as Shared
from .then import piece_as_known as piece_as_known
