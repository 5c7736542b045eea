"""A table in, an answer out: studies, gauges, run lengths, factors."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
