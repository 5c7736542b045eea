"""Lines that wear: the line since a tool was fitted, its breaks, and its detector."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
