"""Puts together what several sheets show: one stage and one card a kind of sheet, one entry a figure."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from qc.ingest.cells import plain
from qc.ingest.first_plan.order import in_order
from qc.ingest.first_plan.seen import SeenFigure, SeenSheet
from qc.ingest.first_plan.told import serial_letters

OF_SOURCE = {
    "slide": {"inner od": ("inner_od", "Stocking diameter"), "outer bore": ("outer_bore", "Outer bore")},
    "tuning": {"": ("note", "Deviation of a note")},
    "lacquer": {"": ("thickness", "Lacquer thickness")},
}
"""Source -> heading of a figure -> the id by which its cards give it; an empty heading is any."""

PITCH = {"alt": (39, 2206), "bass": (34, 2945), "": (34, 2945)}
"""Part of a model's name -> note number of its nominal fundamental and length [mm]: E flat and B flat."""


@dataclass(slots=True)
class DraftStage:
    """A stage with its card: `figures` by id; `modelled` where one of its sheets names a model.

    `days` has the first day of each piece on its sheets.
    """

    id: str
    name: str
    source: str
    figures: dict[str, SeenFigure] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)
    modelled: bool = False
    days: dict[str, date] = field(default_factory=dict)


@dataclass(slots=True)
class PlanDraft:
    """A plan as the sheets propose it; what nobody can know from sheets is left open.

    Attributes
    ----------
    name, serial_prefix : str
        Of the workshop.
    stages : list of DraftStage
        In the order of making, as far as the days of their pieces tell it; else as the sheets were given.
    models : dict
        As typed, shortest writing first -> its name: ``T`` on some sheets, ``Tenor`` on others.
    people : tuple of str
        As typed.
    gauges, tools : dict
        Code -> its class.
    gauge_units : dict
        Code -> unit of the deviations on its check list.
    events : dict
        Event -> title of the card that lists it.
    causes : tuple of str
        As they stand on lists of events.
    """

    name: str
    serial_prefix: str
    stages: list[DraftStage]
    models: dict[str, str]
    people: tuple[str, ...]
    gauges: dict[str, str]
    tools: dict[str, str]
    gauge_units: dict[str, str] = field(default_factory=dict)
    events: dict[str, str] = field(default_factory=dict)
    causes: tuple[str, ...] = ()

    def guessed(self) -> list[str]:
        """Return the figures whose unit nobody wrote."""
        return [
            f"{one.name} in {one.unit}"
            for stage in self.stages
            for one in stage.figures.values()
            if one.guessed
        ]

    def alike(self) -> list[tuple[DraftStage, DraftStage]]:
        """Return stages of one figure each that lie in one range: two headings for one thing, perhaps."""
        single = [s for s in self.stages if s.source == "bench" and len(s.figures) == 1]
        pairs = [(a, b) for n, a in enumerate(single) for b in single[n + 1 :]]
        return [(a, b) for a, b in pairs if _overlap(*a.figures.values(), *b.figures.values())]


def draft_plan(name: str, sheets: Sequence[SeenSheet]) -> PlanDraft:
    """Put together what sheets show.

    Parameters
    ----------
    name : str
        Of the workshop.
    sheets : sequence of SeenSheet
        As `look_at` gives them; those without figures give no stage.

    Returns
    -------
    PlanDraft
    """
    stages: dict[str, DraftStage] = {}
    events: dict[str, str] = {}
    for sheet in sheets:
        if sheet.event:
            events.setdefault(sheet.event, sheet.title)
        if not sheet.figures:
            continue
        source = _source(sheet)
        figures = dict(_named(source, sheet.figures))
        key = source if source != "bench" else _same(figures, stages) or as_id(sheet.title)
        stage = stages.setdefault(key, DraftStage(key, sheet.title, source))
        stage.files.append(sheet.file)
        stage.modelled |= bool(sheet.models)
        for serial, day in sheet.days.items():
            stage.days[serial] = min(day, stage.days.get(serial, day))
        for one, figure in figures.items():
            before = stage.figures.get(one)
            stage.figures[one] = figure if before is None else _joined(before, figure)
    serials = [serial for sheet in sheets for serial in sheet.serials]
    gauges = _of_one_class(
        [(code, word) for sheet in sheets for code, word in sheet.gauges.items() if as_id(code) == code]
    )
    units = {code: sheet.check_unit for sheet in sheets if sheet.check_unit for code in sheet.gauges}
    drafted = list(stages.values())
    tools = {code: word for sheet in sheets for code, word in sheet.tools.items() if as_id(code) == code}
    return PlanDraft(
        name.strip() or "Workshop",
        serial_letters(serials),
        [drafted[n] for n in in_order([stage.days for stage in drafted])],
        _whole(_once(model for sheet in sheets for model in sheet.models)),
        _once(code for sheet in sheets for code in sheet.people if as_id(code) == code),
        gauges,
        tools,
        units,
        events,
        _once(cause for sheet in sheets for cause in sheet.causes),
    )


def as_id(text: str) -> str:
    """Return a text as a plan's id: no blanks and only letters, digits, point and dash, capitals kept.

    Examples
    --------
    >>> as_id("Rim wall"), as_id("MIC-1"), as_id("Größe (oben)")
    ('Rim-wall', 'MIC-1', 'Groesse-oben')
    """
    for letter, plainly in {"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss"}.items():
        text = text.replace(letter, plainly)
    return re.sub(r"[^A-Za-z0-9_.-]+", "-", text).strip("-_.")[:40] or "figure"


def gauge_letters(code: str) -> str:
    """Return the letters of a gauge's code without its number: gauges that bear the same are of one class.

    Examples
    --------
    >>> gauge_letters("BG-2"), gauge_letters("mic14"), gauge_letters("7")
    ('bg', 'mic', '')
    """
    return re.sub(r"[^A-Za-z]+$", "", re.split(r"[-_\d]", code)[0]).lower()


def _of_one_class(seen: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Return code -> class: the word over it on any sheet, else the one over a gauge of the same letters."""
    words = {code: word for code, word in seen if word == "gauge"}
    words |= {code: word for code, word in seen if word != "gauge"}
    by_letters = {gauge_letters(code): word for code, word in words.items() if word != "gauge"}
    order = dict.fromkeys(code for code, _ in seen)
    return {
        code: words[code] if words[code] != "gauge" else by_letters.get(gauge_letters(code), "gauge")
        for code in order
    }


def _overlap(one: SeenFigure, other: SeenFigure) -> bool:
    if one.unit != other.unit or one.kind != "measured" or not (one.values and other.values):
        return False
    return max(min(one.values), min(other.values)) <= min(max(one.values), max(other.values))


def _source(sheet: SeenSheet) -> str:
    """Return who reads a sheet: a thickness by area and spot is the lacquer's, whatever its headings."""
    places = {kind for figure in sheet.figures for kind in figure.places}
    words = {word for text in (sheet.title, *(f.name for f in sheet.figures)) for word in plain(text).split()}
    lacquer = len(sheet.figures) == 1 and {"area", "spot"} <= places and words & {"lacquer", "lack"}
    return "lacquer" if lacquer else sheet.source


def _named(source: str, figures: Sequence[SeenFigure]) -> Iterable[tuple[str, SeenFigure]]:
    """Give each figure with its id: its own name, or the one by which cards of a source give it."""
    for figure in figures:
        known = OF_SOURCE.get(source, {})
        own = known.get(plain(figure.name)) or known.get("")
        if own is not None:
            unit = {"note": "cent", "thickness": "um"}.get(own[0], figure.unit)
            places = {k: v for k, v in figure.places.items() if k not in {"partial", "position"}}
            if own[0] == "outer_bore":
                places.pop("surface", None)
            yield own[0], replace(figure, name=own[1], unit=unit, guessed=False, places=places)
        elif source == "bench":
            yield as_id(plain(figure.name)).replace(".", ""), figure


def _same(figures: dict[str, SeenFigure], stages: dict[str, DraftStage]) -> str:
    """Return the stage that has all figures of a sheet already, or all of whose figures the sheet has."""
    fits = [
        key
        for key, stage in stages.items()
        if stage.source == "bench"
        and (set(figures) <= set(stage.figures) or set(stage.figures) <= set(figures))
    ]
    return fits[0] if len(fits) == 1 else ""


def _joined(one: SeenFigure, other: SeenFigure) -> SeenFigure:
    """Return a figure as two sheets show it: all its places and values, the unit that somebody wrote."""
    kinds = dict.fromkeys([*one.places, *other.places])
    places = {k: tuple(dict.fromkeys([*one.places.get(k, ()), *other.places.get(k, ())])) for k in kinds}
    written = other if one.guessed and not other.guessed else one
    steps = [step for step in (one.step, other.step) if step is not None]
    return replace(
        written, places=places, values=(*one.values, *other.values), step=min(steps, default=None),
        gauge=one.gauge or other.gauge,
    )  # fmt: skip


def _whole(models: Sequence[str]) -> dict[str, str]:
    """Return model id -> name: one that begins another and no third is its short writing."""
    begun = {
        one: longer[0]
        for one in models
        if len(longer := [m for m in models if m != one and plain(m).startswith(plain(one))]) == 1
    }
    return {**begun, **{one: one for one in models if one not in begun and one not in begun.values()}}


def _once(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple({plain(text): text for text in reversed(list(texts))}.values())[::-1]
