"""Judging what is stored: verdicts, windows of a series, circumstances, rates."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
