"""Types of what `qc.report.passport` offers; the package fetches each name on first use."""

from .sheet import Passport as Passport
from .sheet import PassportFigure as PassportFigure
from .sheet import PassportMap as PassportMap
from .sheet import passport_pdf as passport_pdf
