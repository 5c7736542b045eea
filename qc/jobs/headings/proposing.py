"""A mapping to edit, for sheets whose headings or dates leave something open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.ingest import (
    HeadingsUnknown,
    SheetError,
    SheetQuestion,
    batch_reader,
    date_question,
    proposal_text,
    unfold,
)
from qc.jobs.headings.remembering import mappings_for
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject

NOTHING_ASKED = "# Of these headings none is in question, and the sheet is refused all the same:"

BEGUN = """# Where one of its headings is what is missing, say so and hand it in with this file as --mapping:
# card: ID-OF-THE-CARD
# columns: {"Heading as it stands on the sheet": Serial}"""
"""How a mapping is begun by hand, for a sheet of which nothing can be proposed."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a mapping has to answer for some sheets, and why others can be read with none."""

    questions: tuple[SheetQuestion, ...]
    refused: tuple[str, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"questions": [q.to_dict() for q in self.questions], "refused": list(self.refused)}

    def to_text(self) -> str:
        """Return the mapping as YAML to edit; of sheets refused for something else how one is begun."""
        if self.questions or not self.refused:
            return proposal_text(self.questions).rstrip("\n")
        return "\n".join([NOTHING_ASKED, *(f"# {said}" for said in self.refused), BEGUN])


def propose_mapping(workshop: Workshop, files: Sequence[tuple[str, bytes | SheetError]]) -> Proposal:
    """Ask for everything that a mapping has to answer; nothing is stored.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    files : sequence of (name, bytes)
        As `qc.jobs.upload.read_files` gives them.

    Returns
    -------
    Proposal
        One question for each card and heading line.
    """
    mappings = mappings_for(workshop)
    asked: dict[tuple[str, tuple[str, ...]], SheetQuestion] = {}
    refused = []
    with batch_reader() as reader:
        for name, data in files:
            try:
                if isinstance(data, SheetError):
                    raise data
                grids = reader.read(name, data)
            except SheetError as error:
                refused.append(str(error))
                continue
            for grid in grids:
                question = None
                try:
                    question = date_question(unfold(grid, workshop.plan, mappings), workshop.plan)
                except HeadingsUnknown as unknown:
                    question = unknown.question
                except SheetError as error:
                    refused.append(str(error))
                if question is not None:
                    asked.setdefault((question.card, question.headings), question)
    return Proposal(tuple(asked.values()), tuple(refused))
