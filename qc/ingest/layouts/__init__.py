"""Layouts that a person showed by pointing: what stands where on a sheet, so that nothing is guessed."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
