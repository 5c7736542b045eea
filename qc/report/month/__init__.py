"""The month's report: content, blocks, panels, and the same as pdf, page and workbook."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
