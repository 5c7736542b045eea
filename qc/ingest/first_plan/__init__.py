"""A first plan from sheets: what each shows (`seen`), put together (`drafted`), as YAML (`written`)."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
