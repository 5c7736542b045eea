"""Doubts about a row: it stands twice, differs from the record, or was copied from another piece."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
