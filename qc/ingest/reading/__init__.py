"""Bytes into grids of text: csv and xlsx, whatever their name says, with every refusal in words."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
