"""Line drawings of the remedies: the notes of a piece, the line of a die, the spots of a lacquer card."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from dashboard.drawing import Node, node, svg
from dashboard.pages.remedies.words import amount

if TYPE_CHECKING:
    from qc.jobs.board import Sitting
    from qc.jobs.remedies import NotePlace, ToolWear

SOFT = "var(--soft)"
INK = "var(--ink)"
HAIRLINE = {"stroke": SOFT, "stroke-dasharray": "4 4", "stroke-width": 1}
WIDE_PX, NARROW_PX = 900, 340
"""Width of a drawing on a screen, and on a phone [px]."""

SPEC_CENTS = 10.0
"""Notes within this are drawn inside the hairlines: planning value, common practice, no source. [cent]"""


def draw_notes(places: Sequence[NotePlace], before: Sitting | None = None, narrow: bool = False) -> Node:
    """Draw how far each note is off now and would be after the work, one panel for each state of the valves.

    `before` is an earlier sitting, drawn as small crosses.
    """
    width, height = NARROW_PX if narrow else WIDE_PX, 190
    earlier = {_key(one): one.cents for one in before.places} if before else {}
    every = [abs(v) for one in places for v in (one.cents, one.after_cents)]
    reach = max(SPEC_CENTS * 1.3, *every, *(abs(v) for v in earlier.values()))
    panels: list[Node] = []
    top = 0.0
    for valves, group in groupby(places, key=lambda one: one.valves):
        own = list(group)
        panels.append(_panel(own, earlier, (width, height, reach, top), valves))
        top += height
    return svg(width, top, panels, **{"class": "sketch"})


def _panel(
    own: Sequence[NotePlace],
    earlier: dict[tuple[object, ...], float],
    size: tuple[float, float, float, float],
    valves: tuple[str, ...],
) -> Node:
    """Draw the notes of one state of the valves: before, now and after."""
    width, height, reach, top = size
    left, right, head, foot = 40.0, 14.0, 24.0, 44.0
    step = (width - left - right) / max(len(own), 1)

    def y(cents: float) -> float:
        return top + head + (height - head - foot) * (reach - cents) / (2 * reach)

    small = {"font-size": 12, "fill": SOFT}
    state = " and ".join(valves)
    title = f"{state} down" if state else "open"
    parts = [node("text", {"x": left, "y": top + 14, "font-size": 13, "fill": INK}, [f"{title}, cents"])]
    for level in (SPEC_CENTS, 0.0, -SPEC_CENTS):
        ends = {"x1": left, "x2": width - right, "y1": y(level), "y2": y(level)}
        line = {"stroke": SOFT, "stroke-width": 1} if level == 0 else HAIRLINE
        parts.append(node("line", {**ends, **line}))
        label = {"x": left - 6, "y": y(level) + 4, "text-anchor": "end", **small}
        parts.append(node("text", label, [amount(level, 0, signed=level != 0)]))
    position = None
    for index, one in enumerate(own):
        x = left + step * (index + 0.5)
        was = earlier.get(_key(one))
        if was is not None:
            cross = f"M{x - 4} {y(was) - 4} L{x + 4} {y(was) + 4} M{x - 4} {y(was) + 4} L{x + 4} {y(was) - 4}"
            parts.append(
                node("path", {"d": cross, "stroke": "var(--mark)", "stroke-width": 1.5, "fill": "none"})
            )
        if abs(one.after_cents - one.cents) >= 0.5:
            way = {"x1": x, "x2": x, "y1": y(one.cents), "y2": y(one.after_cents)}
            parts.append(node("line", {**way, "stroke": "var(--brass)", "stroke-width": 1.5}))
            ring = {"cx": x, "cy": y(one.after_cents), "r": 4, "stroke": "var(--brass)", "stroke-width": 2}
            parts.append(node("circle", {**ring, "fill": "var(--card)"}))
        parts.append(node("circle", {"cx": x, "cy": y(one.cents), "r": 4, "fill": INK}))
        if step >= 14 or index % 2 == 0:
            at = {"x": x, "y": top + height - 26, "text-anchor": "middle", **small}
            parts.append(node("text", at, [str(one.partial)]))
        if one.position != position:
            position = one.position
            at = {"x": x - 3, "y": top + height - 9, **small}
            word = f"position {position}" if index == 0 and width > NARROW_PX else str(position)
            parts.append(node("text", at, [word]))
    return node("g", {}, parts)


def _key(one: NotePlace) -> tuple[object, ...]:
    return one.valves, one.position, one.partial


def draw_die(tool: ToolWear, unit: str, narrow: bool = False) -> Node | None:
    """Draw the pieces of a tool along its count, their line, the limit, and where it is changed."""
    line = tool.line
    if line is None or not tool.counts:
        return None
    width, height = NARROW_PX if narrow else WIDE_PX, 200.0
    left, right, top, foot = 10.0, 140.0, 26.0, 30.0
    last = max(*tool.counts, line.change_by_count if line.proven and line.change_by_count else 0)
    end = 1.04 * max(last, 1.0)

    def on_line(count: float) -> float:
        return line.intercept + line.slope * count if line is not None else 0.0

    heights = [*tool.values, on_line(end), *([line.limit] if line.limit is not None else [])]
    low, high = min(heights), max(heights)
    room = 0.08 * ((high - low) or 1.0)

    def x(count: float) -> float:
        return left + (width - left - right) * count / end

    def y(value: float) -> float:
        return top + (height - top - foot) * (high + room - value) / (high - low + 2 * room)

    small = {"font-size": 12, "fill": SOFT}
    parts = [
        node("circle", {"cx": x(count), "cy": y(value), "r": 2.5, "fill": INK, "fill-opacity": 0.75})
        for count, value in zip(tool.counts, tool.values, strict=True)
    ]
    edges: list[tuple[float, str, str]] = []
    if line.proven:
        # a line since a break says nothing of the pieces before it
        begin = min(tool.counts) if not line.warnings or "forecast rests on" not in line.warnings[0] else None
        start = _break(line.warnings[0]) if begin is None else begin
        ends = {"x1": x(start), "y1": y(on_line(start)), "x2": x(end), "y2": y(on_line(end))}
        parts.append(node("line", {**ends, "stroke": "var(--steady)", "stroke-width": 2}))
        edges.append((y(on_line(end)), f"{amount(100 * line.slope, 4, True)} {unit} in 100", "var(--steady)"))
    if line.limit is not None:
        ends = {"x1": left, "x2": width - right, "y1": y(line.limit), "y2": y(line.limit)}
        parts.append(node("line", {**ends, "stroke": INK, "stroke-width": 1.2}))
        edges.append((y(line.limit), f"limit {line.limit:g} {unit}", INK))
    for place, text, colour in _apart(edges):
        parts.append(
            node("text", {"x": width - right + 6, "y": place + 4, "font-size": 12, "fill": colour}, [text])
        )
    if line.proven and line.change_by_count is not None:
        at = x(line.change_by_count)
        mark = {
            "x1": at,
            "x2": at,
            "y1": top,
            "y2": height - foot,
            "stroke": "var(--mark)",
            "stroke-width": 2,
        }
        parts.append(node("line", {**mark, "stroke-dasharray": "5 4"}))
        label = {"x": at, "y": top - 8, "text-anchor": "end", "font-size": 12, "fill": "var(--mark)"}
        parts.append(node("text", label, [f"change by {line.change_by_count}"]))
    base = {"x1": left, "x2": width - right, "y1": height - foot, "y2": height - foot}
    parts.append(node("line", {**base, "stroke": SOFT, "stroke-width": 1}))
    parts.append(node("text", {"x": left, "y": height - 10, **small}, ["0"]))
    now = {"x": x(line.last_count), "y": height - 10, "text-anchor": "middle", **small}
    parts.append(node("text", now, [f"now {line.last_count:g}"]))
    return svg(width, height, parts, **{"class": "sketch"})


def _break(warning: str) -> float:
    """Return the count since which a line holds, as its warning says it."""
    return float(warning.rsplit(" ", 1)[-1])


def _apart(edges: list[tuple[float, str, str]]) -> list[tuple[float, str, str]]:
    """Keep the labels at the right edge from lying on each other."""
    placed: list[tuple[float, str, str]] = []
    for place, text, colour in sorted(edges):
        if placed and place - placed[-1][0] < 14:
            place = placed[-1][0] + 14
        placed.append((place, text, colour))
    return placed


# --- lacquer: a trombone seen from the side, and where its areas lie on it

REGIONS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("flare", "rim", "bell mouth", "garland"), "flare"),
    (("stem", "throat", "tail", "bell"), "stem"),
    (("bow", "crook", "tuning"), "bow"),
    (("neck", "goose", "receiver", "valve", "wrap"), "neck"),
    (("slide", "leg", "outer", "inner", "tube"), "slide"),
)
"""What benches call the areas of a body (common practice, no source); the first word found says where."""

PLACES: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "flare": ((72.0, 86.0), (322.0, 86.0)),
    "stem": ((334.0, 86.0), (594.0, 86.0)),
    "bow": ((632.0, 100.0), (632.0, 152.0)),
    "neck": ((580.0, 166.0), (420.0, 166.0)),
    "slide": ((70.0, 226.0), (350.0, 226.0)),
}
"""From where to where the spots of each region lie on the drawing [px]."""


NAMES = {
    "flare": (118.0, 40.0),
    "stem": (430.0, 52.0),
    "bow": (650.0, 60.0),
    "neck": (480.0, 196.0),
    "slide": (180.0, 200.0),
}
"""Where the name of each region stands [px]."""


def region_of(area: str) -> str:
    """Return where an area lies on the sketch, empty for one that no word tells.

    Examples
    --------
    >>> region_of("Bell flare"), region_of("outer slide"), region_of("case")
    ('flare', 'slide', '')
    """
    name = area.casefold()
    return next((region for words, region in REGIONS if any(word in name for word in words)), "")


def draw_spots(spots: Sequence[tuple[str, str, float, str]], narrow: bool = False) -> Node:
    """Draw the spots of a lacquer card on a trombone.

    Parameters
    ----------
    spots : sequence of (area, spot, um, state)
        The state is `thin` (under the limit), `low` (under the nominal) or empty.
    narrow : bool
        For a phone: larger letters, since the drawing shrinks.
    """
    letter = 19 if narrow else 13
    parts = [*_outline()]
    taken: dict[str, int] = {}
    row = 0
    for area, group in groupby(spots, key=lambda one: one[0]):
        own = list(group)
        region = region_of(area)
        if region and region not in taken:
            first, last = PLACES[region]
            name = {"x": NAMES[region][0], "y": NAMES[region][1], "font-size": letter, "fill": SOFT}
            parts.append(node("text", name, [area]))
        else:  # two areas of one region, or one that no word tells: a row of their own below
            first, last = (150.0, 290.0 + 58 * row), (620.0, 290.0 + 58 * row)
            row += 1
            parts.append(
                node("text", {"x": 20, "y": first[1] + 5, "font-size": letter, "fill": SOFT}, [area])
            )
        taken[region] = 1
        parts += _spots(own, (first, last), letter)
    return svg(720, 262 + 58 * row, parts, **{"class": "sketch"})


def _spots(
    own: Sequence[tuple[str, str, float, str]],
    ends: tuple[tuple[float, float], tuple[float, float]],
    letter: int,
) -> list[Node]:
    """Draw spots along a line; names stand on the other side of it than the figures."""
    (x1, y1), (x2, y2) = ends
    upright = abs(x2 - x1) < 1
    found: list[Node] = []
    for index, (_, spot, um, state) in enumerate(own):
        share = (index + 0.5) / len(own)
        x, y = x1 + share * (x2 - x1), y1 + share * (y2 - y1)
        colour = "var(--drift)" if state == "thin" else INK
        fill = colour if state != "low" else "var(--card)"
        mark = {"cx": x, "cy": y, "r": 6, "fill": fill, "stroke": colour, "stroke-width": 2}
        found.append(node("circle", mark))
        text = {"font-size": letter, "fill": colour, "font-weight": 650 if state == "thin" else 400}
        place = (
            {"x": x + 12, "y": y + 4} if upright else {"x": x, "y": y + 14 + letter, "text-anchor": "middle"}
        )
        found.append(node("text", {**place, **text}, [amount(um, 1)]))
        if not upright:
            name = {"x": x, "y": y - 12, "text-anchor": "middle", "font-size": letter, "fill": SOFT}
            found.append(node("text", name, [spot]))
    return found


def _outline() -> list[Node]:
    """Draw the instrument: flare and slide look the same way, the bow is behind the player."""
    brass = {"stroke": "var(--brass)", "stroke-width": 2, "fill": "none"}
    tube = {**brass, "fill": "var(--brass-soft)"}
    flare = "M70 14 C120 62 210 76 330 79 L590 79 A46 46 0 0 1 590 173 L400 173 L400 159 L590 159"
    flare += " A32 32 0 0 0 590 93 L330 93 C210 96 120 110 70 158 Z"
    return [
        node("path", {"d": flare, **tube}),
        node("rect", {"x": 60, "y": 159, "width": 340, "height": 14, **tube}),
        node("rect", {"x": 60, "y": 219, "width": 320, "height": 14, **tube}),
        node(
            "path",
            {"d": "M60 166 A30 30 0 0 0 60 226", **{**brass, "stroke-width": 12, "stroke-opacity": 0.45}},
        ),
        node("line", {"x1": 380, "x2": 380, "y1": 173, "y2": 219, **brass}),
    ]
