"""What the room offers."""

from .factors import Factor as Factor
from .factors import Factors as Factors
from .factors import FactorTable as FactorTable
from .factors import among as among
from .factors import collect_factors as collect_factors
from .suspects import find_suspects as find_suspects
from .upstream import Figure as Figure
from .upstream import FigureTable as FigureTable
from .upstream import collect_figures as collect_figures
