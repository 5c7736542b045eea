"""Figures in, documents out: the month's report, answers for a terminal, pictures.

Names are fetched on first use; the stub beside this file is the only list of what is offered.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
