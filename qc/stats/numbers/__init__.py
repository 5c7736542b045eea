"""Readings in, constants, tolerance factors, rules, limits and settings: what every chart stands on."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
