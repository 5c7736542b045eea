"""One question about one table: kinds, options, checks, outcome."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
