"""Blank cards of the plan, to be printed and to be typed into."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
