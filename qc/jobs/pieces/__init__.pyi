"""Types of what `qc.jobs.pieces` offers; the package fetches each name on first use."""

from .deciding import PieceAnswer as PieceAnswer
from .deciding import keep_back as keep_back
from .deciding import release as release
from .gauges_moved import MovedGauge as MovedGauge
from .gauges_moved import gauge_courses as gauge_courses
from .gauges_moved import master_checks as master_checks
from .gauges_moved import moved_gauges as moved_gauges
from .hold import HoldList as HoldList
from .hold import counted as counted
from .hold import hold_list as hold_list
from .hold import hold_sentence as hold_sentence
from .hold import lines_of as lines_of
from .hold import whereabouts as whereabouts
from .hold import why_words as why_words
from .outside import figures_of as figures_of
from .outside import figures_outside as figures_outside
from .outside import outside_up_to_date as outside_up_to_date
from .reasons import Doubt as Doubt
from .reasons import doubts_of as doubts_of
from .rows import HoldRow as HoldRow
from .rows import PieceDecided as PieceDecided
from .tags import HoldTags as HoldTags
from .tags import write_tags as write_tags
from .waiting_rows import Undecided as Undecided
from .waiting_rows import rows_words as rows_words
from .waiting_rows import undecided as undecided
