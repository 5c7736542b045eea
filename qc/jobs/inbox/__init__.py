"""A folder that benches put their sheets into: taken in as a whole, and cleared by what was stored."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
