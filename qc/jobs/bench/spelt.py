"""A serial as people spell it at the bench, and as it stands on record."""

from __future__ import annotations

from qc.ingest import written_alike
from qc.jobs.workshop import Workshop


def spelt_on_record(workshop: Workshop, typed: str) -> list[str]:
    """Return the pieces on record whose serial is another writing of what was typed: vm101 is VM-101."""
    asked = typed.strip()
    if not asked:
        return []
    known = workshop.store.pieces()["serial"].to_list()
    if asked in known:
        return [asked]
    alike = {written_alike(asked), written_alike(f"{workshop.plan.workshop.serial_prefix}{asked}")}
    return [own for own in known if written_alike(own) in alike]
