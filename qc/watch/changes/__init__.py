"""Where a series changed: its course, level or worn, and the findings along it."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
