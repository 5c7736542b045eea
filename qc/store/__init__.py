"""Keeping: tables, migrations, writing and reading into frames; the only part that knows the database."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
