"""One place of a figure of a piece beside its limits, and which of them is the worst."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean

from qc.plain import FrameRow, JsonObject
from qc.plan import PLACE, Characteristic
from qc.watch import place_words


@dataclass(frozen=True, slots=True)
class PlaceFigure:
    """What a piece measures at one place.

    `at` holds the parts of the place that apply, `lower` and `upper` the limits there [unit of the figure].
    """

    place: str
    at: Mapping[str, str]
    value: float
    lower: float | None
    upper: float | None
    inside: bool | None

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        said = {"place": self.place, "at": dict(self.at), "value": self.value}
        return {**said, "lower": self.lower, "upper": self.upper, "inside": self.inside}


def place_of(row: FrameRow, characteristic: Characteristic) -> PlaceFigure:
    """Return a place from its row of the cells."""
    at = {name: str(row[name]) for name in PLACE if row.get(name) not in (None, "")}
    margin = row["margin"]
    kept = None if margin is None else margin >= 0
    if characteristic.decides == "80-20":
        kept = None  # the rule is of the piece, not of a place
    return PlaceFigure(place_words(row), at, row["value"], row["lower"], row["upper"], kept)


def worst_of(places: Sequence[PlaceFigure], characteristic: Characteristic) -> PlaceFigure:
    """Return the place furthest out or least inside; without limits, furthest from the piece's mean."""
    mean = fmean(one.value for one in places)

    def room(one: PlaceFigure) -> float:
        sides = [one.value - one.lower] if one.lower is not None else []
        sides += [one.upper - one.value] if one.upper is not None else []
        return min(sides, default=0.0)

    bounded = [one for one in places if one.lower is not None or one.upper is not None]
    if bounded:
        return min(bounded, key=room)
    if characteristic.decides == "80-20":
        return min(places, key=lambda one: one.value)
    return max(places, key=lambda one: abs(one.value - mean))
