"""Readings become the points of a series: derived, put in order of making, reduced to one figure a piece."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
