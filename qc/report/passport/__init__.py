"""The passport of a piece: one page to print, to sign, and to lay into the case."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
