"""Types of what `qc.watch` offers; the package fetches each name on first use."""

from qc.watch.budget import DAYS_PER_MONTH as DAYS_PER_MONTH
from qc.watch.budget import Budget as Budget
from qc.watch.budget import expected_points as expected_points
from qc.watch.budget import month_of as month_of
from qc.watch.budget import month_pace as month_pace
from qc.watch.budget import share_budget as share_budget
from qc.watch.courses import Courses as Courses
from qc.watch.courses import courses_from as courses_from
from qc.watch.courses import plain_courses as plain_courses
from qc.watch.decisions import DECIDED as DECIDED
from qc.watch.decisions import Decisions as Decisions
from qc.watch.decisions import Span as Span
from qc.watch.decisions import standing as standing
from qc.watch.dependence import dependence_note as dependence_note
from qc.watch.derive import sources_of as sources_of
from qc.watch.factors import Factor as Factor
from qc.watch.factors import Factors as Factors
from qc.watch.factors import FactorTable as FactorTable
from qc.watch.factors import among as among
from qc.watch.factors import collect_factors as collect_factors
from qc.watch.judge import Question as Question
from qc.watch.judge import judge as judge
from qc.watch.judge import judge_further as judge_further
from qc.watch.points import Points as Points
from qc.watch.points import series_points as series_points
from qc.watch.results import Forecast as Forecast
from qc.watch.results import Point as Point
from qc.watch.results import SeriesKey as SeriesKey
from qc.watch.results import SeriesVerdict as SeriesVerdict
from qc.watch.results import SignalResult as SignalResult
from qc.watch.results import StretchResult as StretchResult
from qc.watch.results import Suspect as Suspect
from qc.watch.upstream import Figure as Figure
from qc.watch.upstream import FigureTable as FigureTable
from qc.watch.upstream import collect_figures as collect_figures
from qc.watch.wear import fittings as fittings
from qc.watch.words import FIRST_STEPS as FIRST_STEPS
from qc.watch.words import day_words as day_words
from qc.watch.words import inside as inside
from qc.watch.words import level_words as level_words
from qc.watch.words import number_words as number_words
from qc.watch.words import quantity_words as quantity_words
from qc.watch.words import unit_words as unit_words

__all__: list[str]
