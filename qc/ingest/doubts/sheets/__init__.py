"""Doubts about what a spreadsheet made of a date, or of a figure that looked like one."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
