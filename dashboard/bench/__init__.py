"""The bench: cards typed figure by figure on any tablet of the shop, on plain pages with one script."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
