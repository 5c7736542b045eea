"""Doubts about a piece: whose serial it is, which model, which surface or tube was measured."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
