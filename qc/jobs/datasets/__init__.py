"""Folders of Parquet files that are larger than memory: read and studied part by part."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
