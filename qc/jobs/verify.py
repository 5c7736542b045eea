"""The proof that nothing was lost or altered since it was accepted."""

from __future__ import annotations

from dataclasses import dataclass

from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import verified_text
from qc.stats import Tabled


@dataclass(frozen=True, slots=True)
class Verified(Tabled):
    """What the check of the store found."""

    entries: int
    faults: tuple[str, ...]

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return Tabled.to_dict(self) | {"whole": not self.faults}

    def to_text(self) -> str:
        """Say it in words."""
        return verified_text(self.entries, self.faults)


def verify_store(workshop: Workshop) -> Verified:
    """Work out every hash of the store again.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    """
    return Verified(len(workshop.store.entries()), tuple(workshop.store.verify()))
