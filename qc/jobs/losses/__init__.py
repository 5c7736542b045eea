"""What did not go right at the first go: rework by cause, yields of the stages, what went before it."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
