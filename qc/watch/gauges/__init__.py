"""How the gauges of a shop stand: their checks day by day, and what the run of them says."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
