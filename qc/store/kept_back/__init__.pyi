"""Types of what `qc.store.kept_back` offers; the package fetches each name on first use."""

from .decided import PieceDecision as PieceDecision
from .decided import PieceWord as PieceWord
from .verbs import PiecesStore as PiecesStore
