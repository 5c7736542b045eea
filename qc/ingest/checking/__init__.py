"""Rows into accepted and held ones, by the plan's rules and the doubts; held rows mended and judged again."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
