"""The bench: a card of the plan asked figure by figure, what was typed as a sheet, doubts while typing."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
