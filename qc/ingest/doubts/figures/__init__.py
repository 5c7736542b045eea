"""Doubts about a figure: a slip of the point or the unit, another measure meant, a gauge that was off."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
