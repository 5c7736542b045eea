"""A drafted plan as YAML: what the sheets show is filled in, what only people know is left open beside it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

from qc.ingest.cells import plain
from qc.ingest.first_plan.drafted import PITCH, DraftStage, PlanDraft, as_id, gauge_letters
from qc.ingest.first_plan.seen import SeenFigure

_PLAIN_TEXT = re.compile(r"^[^\W\d_][\w ./()-]*$")
_WORDS = frozenset("yes no on off true false null y n".split())
_SYMBOLS = ("circle", "square", "diamond", "triangle", "cross")
_TOP = """\
# The measuring plan, proposed from sheets: what stands here was on them. What only you know stands behind
# OPEN: fill it in, or leave it; readings are charted without limits too. `qc plan check` names every mistake.
# Two spaces for each level, never tabs; decimal point, no units after numbers; days as 2026-05-14.
# All that a plan can say: docs/reference/plan.md
"""
_DERIVED = {
    "slide": """\
      - id: clearance
        name: Slide clearance
        unit: um               # on diameter, never per side
        derive: {what: clearance}
        # OPEN limits: [{target: , lower: , upper: }]
""",
    "tuning": """\
      - id: main-length
        name: Main length
        unit: mm
        derive: {what: main-length}
        # OPEN limits: [{target: , lower: , upper: }]
""",
}
"""What the readings of a source are charted as."""


def plan_text(draft: PlanDraft) -> str:
    """Write a drafted plan as YAML that loads.

    Parameters
    ----------
    draft : PlanDraft
        As `draft_plan` gives it.

    Returns
    -------
    str
    """
    lines = [_TOP, "workshop:", f"  name: {_text(draft.name)}"]
    if draft.serial_prefix:
        lines.append(f"  serial_prefix: {_text(draft.serial_prefix)}")
    lines += [
        "  time_zone: UTC               # OPEN: a name such as Etc/GMT-1, one hour ahead of UTC",
        "  # OPEN lead: code of the quality lead, one of the people below",
        "",
        "# OPEN: pitch, length, valves of each model, which only tuning asks for; family: charted together.",
        "models:",
        *_models(draft),
        "",
        "# In the order of making, as the days on the sheets tell it: move them where they belong.",
        "stages:",
    ]
    alike = {other.id: one for one, other in draft.alike()}
    for stage in draft.stages:
        if (one := alike.get(stage.id)) is not None:
            lines += [
                f"  # OPEN: its figures lie where those of {one.name} do. If both are one, delete this",
                "  # stage and its card; such a sheet is then asked once what its heading means.",
            ]
        lines += _stage(stage, draft)
    lines += _lists(draft)
    return "\n".join(lines) + "\n"


def _models(draft: PlanDraft) -> Iterator[str]:
    for number, (one, name) in enumerate((draft.models or {"Instrument": "Instrument"}).items()):
        pitch, length = next(figures for part, figures in PITCH.items() if part in plain(name))
        valves = ", ".join(
            f"{{name: {valve}, added_mm: {length * (2 ** (lower / 12) - 1):.0f}}}"
            for valve, lower in zip(_valves(draft), (5, 3, 2), strict=False)  # a fourth, then less: a guess
        )
        family = _several(as_id(plain(name))[:38])
        yield (
            f"  - {{id: {_text(as_id(one))}, name: {_text(name)}, family: {family}, pedal_midi: {pitch}, "
            f"length_mm: {length}, {f'valves: [{valves}], ' if valves else ''}"
            f"symbol: {_SYMBOLS[number % len(_SYMBOLS)]}}}"
        )


def _valves(draft: PlanDraft) -> list[str]:
    """Return the valves that figures of any stage name, in the order in which they were met."""
    figures = [figure for stage in draft.stages for figure in stage.figures.values()]
    named = [name for figure in figures for name in figure.places.get("valve", ()) if name != "open"]
    return list(dict.fromkeys(named))[:3]


def _several(name: str) -> str:
    """Return the name of a family of models.

    Examples
    --------
    >>> _several("tenor"), _several("bass")
    ('tenors', 'basses')
    """
    return f"{name}es" if name.endswith(("s", "x", "z", "ch", "sh")) else f"{name}s"


def _stage(stage: DraftStage, draft: PlanDraft) -> list[str]:
    lines = [
        f"  - id: {_text(stage.id)}           # from {', '.join(stage.files)}",
        f"    name: {_text(stage.name)}",
    ]
    lines.append("    characteristics:")
    for one, figure in stage.figures.items():
        lines += _figure(one, figure, stage, draft)
    derived = _DERIVED.get(stage.source, "")
    if stage.source == "slide" and set(stage.figures) != {"inner_od", "outer_bore"}:
        derived = ""
    return [*lines, derived.rstrip("\n")] if derived else lines


def _figure(one: str, figure: SeenFigure, stage: DraftStage, draft: PlanDraft) -> Iterator[str]:
    """Write one figure as plan lines; each guess is marked, so that somebody decides it."""
    yield f"      - id: {_text(one)}"
    yield f"        name: {_text(figure.name)}"
    check = "      # OPEN: nobody wrote a unit; this is a guess" if figure.guessed else ""
    yield f"        unit: {_text(figure.unit)}{check}"
    if figure.kind != "measured":
        yield f"        kind: {figure.kind}"
    valves = {"open", *_valves(draft)}
    places = {
        kind: [word for word in words if kind != "valve" or word in valves]
        for kind, words in figure.places.items()
    }
    if places:
        kinds = ", ".join(f"{k}: [{', '.join(_place(v) for v in vs)}]" for k, vs in places.items())
        yield f"        places: {{{kinds}}}"
    if not stage.modelled and stage.source == "bench" and len(draft.models) > 1:
        yield "        pool: all            # OPEN: its sheets name no model; leave this out once they do"
    if stage.source in _DERIVED and (stage.source != "slide" or len(stage.figures) == 2):
        yield "        charted: false"
    gauge = draft.gauges.get(figure.gauge)
    if gauge and figure.step is not None:
        yield f"        gauge_class: {_text(_class(figure.gauge, draft))}"
    if figure.step is not None and figure.kind == "measured":
        yield f"        resolution: {figure.step:g}"
    if figure.values and figure.kind == "measured":
        read = f"{min(figure.values):g} to {max(figure.values):g}"
        yield f"        # OPEN limits: [{{target: , lower: , upper: }}]  # read so far: {read}"
        yield "        # OPEN sensible: [ , ]  # outside these a figure is a slip of the hand"


def _lists(draft: PlanDraft) -> Iterator[str]:
    steps: dict[str, SeenFigure] = {}
    for figure in (one for stage in draft.stages for one in stage.figures.values() if one.gauge):
        checked = draft.gauge_units.get(figure.gauge, figure.unit)
        if figure.gauge not in steps or (steps[figure.gauge].unit != checked == figure.unit):
            steps[figure.gauge] = figure  # of several figures the one in the unit of its checks
    if draft.gauges:
        yield "\n# OPEN: when each was calibrated and until when: calibrated: [2026-01-12], due: 2027-01-12"
        if "gauge-check" in draft.events:
            yield "# OPEN: checked each day, and how far off it may be: daily_check: true, check_tolerance: 5"
        yield "gauges:"
        for code in draft.gauges:
            kind = _text(_class(code, draft))
            alike = (figure for one, figure in steps.items() if _class(one, draft) == _class(code, draft))
            own = steps.get(code) or next(alike, None)
            step, unit = (own.step or 1, own.unit) if own else (1, draft.gauge_units.get(code, "mm"))
            said = f"id: {code}, name: {code}, gauge_class: {kind}, resolution: {step:g}, unit: {_text(unit)}"
            yield f"  - {{{said}}}"
    if draft.people:
        yield "\npeople:"
        yield from (f"  - {{code: {_text(code)}}}" for code in draft.people)
    if draft.tools:
        yield "\ntools:"
        yield from (
            f"  - {{id: {_text(code)}, name: {_text(code)}, tool_class: {_text(word)}}}"
            for code, word in draft.tools.items()
        )
    yield "\ncards:"
    for stage in draft.stages:
        one = _text(stage.id)
        card = stage.id if stage.id.casefold().endswith("card") else f"{stage.id}-card"
        said = f"id: {_text(card)}, title: {_text(stage.name)}, source: {stage.source}"
        yield f"  - {{{said}, stage: {one}, characteristics: [{', '.join(map(_text, stage.figures))}]}}"
    for event, title in draft.events.items():
        yield f"  - {{id: {event}, title: {_text(title)}, source: bench, event: {event}}}"
    usual = ("gauge not zeroed", "handling", "material", "unknown")
    causes = {plain(cause): cause for cause in (*draft.causes, *usual)}
    yield f"\ncauses: [{', '.join(map(_text, causes.values()))}]"


def _class(code: str, draft: PlanDraft) -> str:
    """Return the class of a gauge: the word that stood over it, else the letters of its code."""
    word = draft.gauges[code]
    return word if word != "gauge" else gauge_letters(code) or "gauge"


def _place(value: str) -> str:
    return value if re.fullmatch(r"\d{1,4}", value) else _text(value)


def _text(text: str) -> str:
    """Write a text so that YAML takes it as one."""
    return (
        text
        if _PLAIN_TEXT.match(text) and text.casefold() not in _WORDS
        else json.dumps(text, ensure_ascii=False)
    )
