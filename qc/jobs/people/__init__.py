"""People: added, given a new code, gone; how they sign in; how a name is forgotten."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
