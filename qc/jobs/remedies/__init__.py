"""Remedies from a file or from the store: what to do to which instrument, tube, tool or booth."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
