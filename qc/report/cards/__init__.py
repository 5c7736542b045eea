"""Blank cards on paper: what stands on one, its page to print, its workbook to type into."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
