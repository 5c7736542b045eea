"""Doubts: what no rule over a column can say, since it takes knowing the figure, its neighbours or the past.

A new doubt is one module in the sub-room of what it is about (`rows`, `figures`, `pieces`, `sheets`), with a
function ``find_...(facts, doubted)``, one line in the stub there, one in `asking` and one reason in
`qc.ingest.reasons`. A doubt holds a row and offers a mend; none of them changes anything.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
