"""The mappings of a workshop: ``mappings.yaml`` beside the plan, each text of it a version in the store.

The file is what counts, as with the plan: a lead may edit it, and the next upload records what it finds. It
is a file of its own so that the comments of ``plan.yaml`` stay.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Sequence
from pathlib import Path

from qc.errors import MachineError
from qc.ingest import (
    CardMapping,
    Mappings,
    SheetError,
    SheetLayout,
    Unfolded,
    mappings_text,
    read_file,
    read_layout_texts,
    read_mapping,
)
from qc.jobs.errors import JobError
from qc.jobs.halves import AsBefore
from qc.jobs.workshop import Workshop
from qc.store import OWN_FILE, flush_file

FILE = "mappings.yaml"


def mappings_for(
    workshop: Workshop, given: Sequence[CardMapping] = (), layouts: Sequence[SheetLayout] = ()
) -> Mappings:
    """Return what a sheet may be read with: what is handed in with it, then what is remembered.

    A file that was edited since the last upload is recorded as a new version first, so that every sheet has
    the mappings it was read with before its own entry.

    Raises
    ------
    MappingError
        The file beside the plan has faults; all of them are said.
    JobError
        It is no UTF-8 text.
    MachineError
        It cannot be read.
    """
    text = _text(workshop.folder / FILE)
    if not text:
        return Mappings(given=tuple(given), given_layouts=tuple(layouts))
    remembered = _remembered(text, workshop)
    workshop.store.record_mappings(text, who=workshop.plan.workshop.lead or "", when=workshop.now)
    mappings, shown = remembered
    return Mappings(mappings, tuple(given), shown, tuple(layouts))


def read_mapping_file(
    path: Path, workshop: Workshop
) -> tuple[tuple[CardMapping, ...], tuple[SheetLayout, ...]]:
    """Read the mapping that a person hands in with sheets: what headings mean, and layouts.

    Raises
    ------
    MappingError
        It has faults; all of them are said.
    JobError
        It is no UTF-8 text, or no file.
    """
    try:
        data = read_file(path)
    except SheetError as error:
        raise JobError(f"{path.name}: {error.problem}. Name a file with the mapping.") from error
    text = _decoded(data, path.name)
    return (
        read_mapping(text, path.name, workshop.plan),
        read_layout_texts(text, path.name, workshop.plan),
    )


def confirmed_text(
    workshop: Workshop, parts: Sequence[Unfolded], files: AsBefore
) -> Callable[[], str] | None:
    """Return what writes the mappings that sheets were read with, None where all are remembered already.

    Called under the lock of the store, so that two people who confirm at once keep both: it reads the file
    anew, writes it, and returns its text for the version that comes before the sheets. `files` puts it back
    where these cannot be stored.
    """
    used = [c for part in parts for read in part.read_as if (c := read.confirmed()) is not None]
    shown = {part.through.layout.name: part.through.layout for part in parts if part.through is not None}

    def known() -> tuple[tuple[CardMapping, ...], tuple[SheetLayout, ...]]:
        text = _text(workshop.folder / FILE)
        return _remembered(text, workshop) if text else ((), ())

    def changed() -> str:
        mappings, layouts = known()
        kept = {layout.name: layout for layout in layouts} | shown
        new = mappings_text(Mappings(mappings).confirmed(used).remembered, kept.values())
        files.note(workshop.folder / FILE)
        _write(workshop.folder / FILE, new)
        return new

    mappings, layouts = known()
    is_known = all(one in mappings for one in used) and all(one in layouts for one in shown.values())
    return None if is_known else changed


def _remembered(text: str, workshop: Workshop) -> tuple[tuple[CardMapping, ...], tuple[SheetLayout, ...]]:
    """Read what is remembered; the plan may have changed since, so what it does not know is no fault."""
    return (
        read_mapping(text, FILE, workshop.plan, strict=False),
        read_layout_texts(text, FILE, workshop.plan, strict=False),
    )


def _text(path: Path) -> str:
    if path.exists() and not path.is_file():  # not waited for, nor taken for nothing
        raise JobError(f"{path} is no file, so nobody can tell what headings mean. Put the file back.")
    try:
        return _decoded(path.read_bytes(), path.name) if path.is_file() else ""
    except OSError as error:
        raise MachineError(f"{path} cannot be read ({error.strerror}). Mend that and try again.") from error


def _decoded(data: bytes, name: str) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise JobError(f"{name} is no UTF-8 text. Save it as UTF-8 and hand it in again.") from error


def _write(path: Path, text: str) -> None:
    """Put a text in the place of a file, whole or not at all."""
    half = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        half.touch(OWN_FILE)
        half.write_text(text, "utf-8")
        flush_file(half)
        os.replace(half, path)
    except OSError as error:
        half.unlink(missing_ok=True)
        raise MachineError(
            f"{path} cannot be written ({error.strerror}). Make room or mend the right to write there."
        ) from error
