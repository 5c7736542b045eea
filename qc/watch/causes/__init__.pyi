"""What the room offers."""

from .between_batches import LevelApart as LevelApart
from .between_batches import levels_apart as levels_apart
from .between_people import APART_CHANCE as APART_CHANCE
from .between_people import PersonApart as PersonApart
from .between_people import people_apart as people_apart
from .factors import Factor as Factor
from .factors import FactorLevels as FactorLevels
from .factors import FactorTable as FactorTable
from .factors import among as among
from .going_with import SCREENED_BY as SCREENED_BY
from .going_with import Earlier as Earlier
from .going_with import GoesWith as GoesWith
from .going_with import ScreenedResult as ScreenedResult
from .going_with import final_results as final_results
from .going_with import screen as screen
from .suspects import find_suspects as find_suspects
from .unchanged import still_unchanged as still_unchanged
from .upstream import Figure as Figure
from .upstream import FigureTable as FigureTable
