"""Whether a capability figure may be given at all, and the fewest pieces for it."""

from __future__ import annotations

import math

from qc.stats.capable.basis import Basis

TAIL = 0.00135  # the 0.135 % percentile of ISO 22514 (from memory): what lies beyond three sd of a normal
LEAST_PIECES = 20  # fewer pieces give no capability figure (common practice, no source)
LEAST_OBSERVED = math.ceil(1.0 / TAIL)  # fewer pieces hold no observed 0.135 % percentile


def why_withheld(n: int, sd: float, own: float, basis: Basis, shape: str) -> str | None:
    """Say why no figure may be given, or None; `own` is the sd as it is, `sd` the floored one."""
    if not basis.stable:
        return (
            "the process is not stable, so the figure would describe nothing that lasts; "
            f"{basis.unstable_because}"
        )
    least = LEAST_OBSERVED if shape == "any" else LEAST_PIECES
    if n < least:
        seen = " to see the 0.135 % percentiles" if shape == "any" else ""
        return f"{n} pieces are too few{seen}: at least {least} are needed"
    if sd == 0.0 or (shape != "normal" and own == 0.0):
        return "all readings are equal, so the spread is unknown: give the resolution of the gauge"
    return None
