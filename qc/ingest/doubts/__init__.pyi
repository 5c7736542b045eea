from .asking import find_doubts
from .facts import Facts, gather_facts

__all__ = [
    "Facts",
    "find_doubts",
    "gather_facts",
]
