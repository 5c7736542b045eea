"""What the room offers."""

from .factors import Factor as Factor
from .factors import FactorLevels as FactorLevels
from .factors import FactorTable as FactorTable
from .factors import among as among
from .suspects import find_suspects as find_suspects
from .upstream import Figure as Figure
from .upstream import FigureTable as FigureTable
