from .unfolding import Unfolded, unfold

__all__ = [
    "Unfolded",
    "unfold",
]
