"""Frames in, verdicts out: series, stretches, signals, suspects and the false-alarm budget.

The stub beside this file is the list of what is offered; each name is fetched on first use, so that a page
that only shows verdicts loads nothing that judges.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
