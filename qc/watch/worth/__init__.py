"""What a reading costs and buys: how soon a change is told by it, and how much is known without it."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
