"""How settled pieces scatter, learned from them and their sisters: shape, lots, neighbours."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
