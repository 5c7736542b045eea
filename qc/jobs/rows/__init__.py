"""One row at a time: those that wait for a person, and what is decided about them."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
