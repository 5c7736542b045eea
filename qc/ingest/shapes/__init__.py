"""What is told by shape alone: the words of a heading, maps of places, columns worked out."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
