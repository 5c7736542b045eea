"""Single pieces against their limits: each figure where it is worst."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
