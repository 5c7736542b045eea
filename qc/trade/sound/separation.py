"""What a note set can and cannot tell apart, and in which words to say so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from qc.stats import Floats
from qc.trade.sound.note_set import Note, NoteDesign, firm_notes
from qc.words import listed

RANK_TOLERANCE = 1e-9
"""Singular values below this share of the greatest count as zero: far below any change a note can show."""


@dataclass(frozen=True, slots=True)
class Separation:
    """The parameters of a note design brought to full rank.

    Parameters
    ----------
    weights : array, shape (parameters, q)
        Rows that turn the q fitted figures into each named parameter.
    design : array, shape (notes, q)
        Design matrix of the fitted figures, of full column rank.
    separable : tuple of bool
        Which named parameters the set determines.
    missing : int
        Columns less rank of the design with its conventions.
    assumed_partials : tuple of str
        Partials whose residuals had to be taken as 0 in some combination: they were blown in one part only.
    affected : tuple of str
        Lengths that rest on that assumption.
    """

    weights: Floats
    design: Floats
    separable: tuple[bool, ...]
    missing: int
    assumed_partials: tuple[str, ...]
    affected: tuple[str, ...]


def separate(design: NoteDesign, reference_partial: int | None = None) -> Separation:
    """Bring a note design to full rank, and say what it determines and what had to be given up.

    Parameters
    ----------
    design : NoteDesign
        The linear model.
    reference_partial : int, optional
        Partial taken as true. Left out, the partial residuals sum to zero.

    References
    ----------
    .. [1] Rank and estimable functions of a linear model, any textbook on linear models.
    """
    basis = _conventions(design, reference_partial)
    null = _null_space(design.matrix @ basis)
    missing = null.shape[1]
    partials = design.columns("partial:")
    before = _determined(basis, null)
    assumed: tuple[str, ...] = ()
    if missing:
        mixed = (basis @ null)[partials]
        left, values, _ = np.linalg.svd(mixed, full_matrices=False)
        # no more conventions than are missing: a partial that the notes do determine keeps its own figure
        constraints = left[:, values > RANK_TOLERANCE * 10].T
        if len(constraints):
            touched = np.abs(constraints).max(axis=0) > 1e-6
            assumed = tuple(design.names[index] for index, hit in zip(partials, touched, strict=True) if hit)
            basis = basis @ _null_space(constraints @ basis[partials])
            null = _null_space(design.matrix @ basis)
    separable = _determined(basis, null)
    rescued = [
        name
        for name, was, now in zip(design.names, before, separable, strict=True)
        if now and not was and name.startswith(("main", "valve:", "position:"))
    ]
    kept = _row_space(design.matrix @ basis)
    weights = basis @ kept
    return Separation(weights, design.matrix @ weights, separable, missing, assumed, tuple(rescued))


def design_shortfall(design: NoteDesign, with_offset: bool = True) -> int:
    """Give columns less rank of a design with no conventions and, if asked, a common offset.

    It shows why conventions are needed: no amount of notes separates main length, offset and partial level.
    """
    matrix = design.matrix
    if with_offset:
        matrix = np.column_stack([matrix, np.ones(len(matrix))])
    return int(_null_space(matrix).shape[1])


def separation_words(
    design: NoteDesign,
    separation: Separation,
    notes: Sequence[Note],
    offsets: Mapping[str, float] | None = None,
) -> tuple[str, ...]:
    """Say in words what a note set cannot separate and which extra notes would.

    `offsets` are those of the testers against the mean of all, where a reference told them. [cent]
    """
    words = []
    lost = [name for name, ok in zip(design.names, separation.separable, strict=True) if not ok]
    lengths = [name for name in lost if not name.startswith("partial:")]
    if lengths:
        words.append(
            f"{listed([part_words(name) for name in lengths])} cannot be told apart with these notes: "
            f"{_extra_notes(lengths, notes)}"
        )
    if separation.assumed_partials:
        numbers = listed([name.removeprefix("partial:") for name in separation.assumed_partials])
        what = listed([part_words(name) for name in separation.affected]) or "the lengths"
        words.append(
            f"Partials {numbers} were not all blown in every part of the set, so their own errors cannot be "
            f"told from {what}: they are taken as true on average. Blow the same partials in every part"
        )
    by_ear = sorted({note.position for note in notes if note.method == "by-ear"})
    if by_ear[-1:] > [1]:
        far = [str(position) for position in by_ear if position > 1]
        what = "Position" if len(far) == 1 else "Positions"
        where = f"{what} {listed(far)} {'was' if len(far) == 1 else 'were'} placed by ear"
        words.append(
            f"{where}: the mark cannot be judged, and notes brought to pitch by "
            "ear say nothing about length. Place the slide on a gauge block or the mark to learn more"
        )
    if any(notes[index].method == "by-ear" for index in firm_notes(notes)):
        words.append(
            "1st position was placed by ear: the length and the slide's set-out from the stop cannot be told "
            "apart. Blow 1st position at the stop before anything is changed"
        )
    if not offsets:
        words.append(
            "Main length and a common offset (player, day, tuner reference) look the same over any note set: "
            "the offset is taken as 0. A reference instrument blown the same day tells them apart"
        )
    else:
        words.append(
            "The reference instrument tells the testers apart, not all of them together from main length: "
            f"their common mean is taken as right. If one of them alone is right, the main length lies up to "
            f"{max(map(abs, offsets.values())) * design.unit_mm:.1f} mm from the figure here; "
            "its interval does not count that"
        )
    return tuple(words)


def part_words(name: str) -> str:
    """Give the bench's words for a parameter of the model.

    Examples
    --------
    >>> part_words("valve:F"), part_words("position:3")
    ('F wrap', 'mark of position 3')
    """
    kind, _, rest = name.partition(":")
    return {
        "main": "main length",
        "valve": f"{rest} wrap",
        "position": f"mark of position {rest}",
        "partial": f"partial {rest}",
        "tester": f"offset of tester {rest}",
    }[kind]


def _conventions(design: NoteDesign, reference_partial: int | None) -> Floats:
    """Give the basis of parameters that keep the conventions: residuals and tester offsets sum to zero."""
    partials, testers = design.columns("partial:"), design.columns("tester:")
    free = [index for index in range(len(design.names)) if index not in {*partials, *testers}]
    size = len(design.names)
    columns = [np.eye(size)[:, free]] if free else []
    reference = f"partial:{reference_partial}"
    if reference in design.names:
        columns.append(np.eye(size)[:, [i for i in partials if design.names[i] != reference]])
    else:
        columns.append(_sum_to_zero(partials, size))
    columns.append(_sum_to_zero(testers, size))
    return np.hstack(columns)


def _sum_to_zero(indices: Sequence[int], size: int) -> Floats:
    basis = np.zeros((size, max(0, len(indices) - 1)))
    for step in range(1, len(indices)):
        # Orthonormal contrasts: the mean of the first `step` against the next.
        basis[list(indices[:step]), step - 1] = 1.0 / step
        basis[indices[step], step - 1] = -1.0
    return basis / np.sqrt((basis**2).sum(axis=0)) if basis.shape[1] else basis


def _null_space(matrix: Floats) -> Floats:
    """Directions that no reading answers to."""
    if matrix.shape[1] == 0:
        return np.zeros((0, 0))
    # all of them are there without filling up the other side too, which takes a thousand times as long
    _, values, rows = np.linalg.svd(matrix, full_matrices=matrix.shape[0] < matrix.shape[1])
    rank = int((values > RANK_TOLERANCE * max(values.max(initial=0.0), 1e-300)).sum())
    beyond: Floats = rows[rank:].T
    return beyond


def _row_space(matrix: Floats) -> Floats:
    _, values, rows = np.linalg.svd(matrix, full_matrices=False)
    kept: Floats = rows[values > RANK_TOLERANCE * values.max(initial=0.0)].T
    return kept


def _determined(basis: Floats, null: Floats) -> tuple[bool, ...]:
    """Say of each parameter whether no direction without an answer touches it."""
    if null.shape[1] == 0:
        return (True,) * len(basis)
    return tuple(bool(np.abs(row).max() < 1e-6) for row in basis @ null)


def _extra_notes(lost: Sequence[str], notes: Sequence[Note]) -> str:
    firm = [note for note in notes if note.position == 1 and note.method != "by-ear"]
    wanted = []
    if not any(not note.valves for note in firm):
        wanted.append("open notes in 1st position at the stop")
    for name in lost:
        kind, _, valve = name.partition(":")
        if kind == "valve" and not any(valve in note.valves for note in firm):
            wanted.append(f"notes with {valve} in 1st position at the stop")
    for note in firm:
        # Valves only ever blown together: the first of them alone tells them apart.
        together = [valve for valve in note.valves if f"valve:{valve}" in lost]
        alone = f"notes with {together[0]} alone in 1st position at the stop" if len(together) > 1 else ""
        if alone and alone not in wanted:
            wanted.append(alone)
    if any(name.startswith("tester:") for name in lost):
        wanted.append("the same notes by every tester")
    return "blow " + (listed(wanted) if wanted else "more notes with each valve alone in 1st position")
