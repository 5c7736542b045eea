"""Order among equal readings."""

from hashlib import blake2b


def dither_of(label: object) -> float:
    """Give a piece its fraction of a step, in [0, 1): it decides between equal readings."""
    # from the name and not from a random generator: the same piece gets the same fraction in every run and
    # store
    return int.from_bytes(blake2b(str(label).encode(), digest_size=8).digest(), "big") / 2.0**64
