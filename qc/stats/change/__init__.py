"""The detector: whether a series has changed, since which piece, in which way, by how much."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
