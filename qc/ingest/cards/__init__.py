"""A grid into the rows of a card of the plan: its parts, which card it is, its cells by our names."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
