"""The one meaning that all words around a figure have together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.ingest.cells import packed_figures
from qc.ingest.freely.lines import Label
from qc.ingest.freely.shortened import Lexicon, Told
from qc.ingest.freely.standing import Stood

NO_WORD = 100
"""More than any guess costs: a label of which nobody knows anything; chosen."""


@dataclass(frozen=True, slots=True)
class Solved:
    """A figure with its name and its places."""

    stood: Stood
    figure: str
    places: tuple[tuple[str, str], ...]
    unit: str
    basis: str
    cost: int
    text: str = ""


class Solver:
    """Reads the labels of each figure together: of many meanings the one that all of them allow."""

    def __init__(self, lexicon: Lexicon) -> None:
        self.lexicon, self.words = lexicon, lexicon.words
        self._kept: dict[tuple[tuple[Label, ...], str, str], Told | None] = {}

    def solve(self, stood: Sequence[Stood]) -> tuple[list[Solved], list[Stood]]:
        """Return the figures with what they are, and those that nobody can tell."""
        told: list[tuple[Stood, Told | None]] = []
        before: dict[int, Told] = {}
        for one in stood:
            own = self._of(one)
            column = one.seen.cell.column
            if own is None and column in before and one.labels:
                own = self._together(tuple(one.labels), _sort(one), before[column].figure)
            if own is not None and own.figure:
                before[column] = own
            told.append((one, own))
        return self._in_order(told)

    def _of(self, one: Stood) -> Told | None:
        fixed = [Label(one.says[kind].text, kind) for kind in _KINDS if kind in one.says]
        for labels in ([*one.labels, *one.carried, *fixed], [*one.labels, *fixed]):
            found = self._together(tuple(labels), _sort(one))
            if found is not None:
                return found
        return None

    def _together(self, labels: tuple[Label, ...], sort: str, figure: str = "") -> Told | None:
        """Return the cheapest meaning that all labels allow together; None where none or two are."""
        key = (labels, sort, figure)
        if key not in self._kept:
            self._kept[key] = self._cheapest(*key)
        return self._kept[key]

    def _cheapest(self, labels: tuple[Label, ...], sort: str, figure: str) -> Told | None:
        ways = [
            self.lexicon.ways(label.text, label.kind) or self.lexicon.ways(label.text) for label in labels
        ]
        if not all(ways):
            return None
        joined = self._joined_text(labels)
        found: dict[tuple[object, ...], Told] = {}
        for way in (*_combined(ways, figure), *joined):
            whole = self._whole(way)
            if whole is None or (
                sort and (self.words.figures[whole.figure].kind == VERDICT) != (sort == VERDICT)
            ):
                continue
            key = (whole.figure, frozenset(whole.places), whole.span)
            if key not in found or whole.cost < found[key].cost:
                found[key] = whole
        if not found:
            return None
        best = sorted(found.values(), key=lambda t: t.cost)
        return best[0] if len(best) == 1 or best[0].cost < best[1].cost else None

    def _joined_text(self, labels: tuple[Label, ...]) -> list[Told]:
        """Read all labels as one: Tuning slide over bore is a figure by one name."""
        words = [label.text for label in labels if not label.kind]
        if len(words) < 2 or len(words) < len(labels):
            return []
        return [t for t in self.lexicon.ways(" ".join(words)) if t.figure and t.cost == 0]

    def _whole(self, told: Told) -> Told | None:
        """Give a meaning its figure, where its places leave only one; None where it contradicts the plan."""
        figure = told.figure or self.words.only_figure([k for k, _ in (*told.places, *told.span)])
        if not figure or figure not in self.words.figures:
            return None
        known = self.words.places[figure]
        if self.words.card.source == "tuning" and "partial" not in {k for k, _ in (*told.places, *told.span)}:
            return None  # a note without its partial is none
        if any(kind not in known or value not in known[kind].values() for kind, value in told.places):
            return None
        return Told(figure, told.places, told.unit, told.basis, told.cost, told.span)

    def _in_order(self, told: Sequence[tuple[Stood, Told | None]]) -> tuple[list[Solved], list[Stood]]:
        """Give figures of one meaning the places that are left, where they are as many as the plan has."""
        groups: dict[tuple[object, ...], list[tuple[Stood, Told, str]]] = {}
        open_ones: list[Stood] = []
        for one, own in told:
            if own is None:
                open_ones.append(one)
                continue
            serial = one.says["serial"].text if "serial" in one.says else ""
            packed = packed_figures(one.seen.cell.text)
            for text in packed or [one.seen.cell.text]:
                key = (serial, own.figure, own.places, one.row if not packed else one.seen.cell)
                groups.setdefault(key, []).append((one, own, text))
        found: list[Solved] = []
        for group in groups.values():
            own = group[0][1]
            left = [k for k in self.words.places[own.figure] if k not in dict(own.places)]
            values: list[tuple[tuple[str, str], ...]] = [() for _ in group]
            if own.span and len(own.span) == len(group):
                values = [(place,) for place in own.span]
            elif len(group) > 1:
                fits = [k for k in left if len(self.words.places[own.figure][k]) == len(group)]
                if len(fits) == 1:
                    values = [((fits[0], v),) for v in self.words.places[own.figure][fits[0]].values()]
                else:
                    open_ones += [one for one, _, _ in group]
                    continue
            for (one, mine, text), more in zip(group, values, strict=True):
                places = tuple(sorted((*mine.places, *more)))
                found.append(
                    Solved(one, mine.figure, places, one.unit or mine.unit, mine.basis, mine.cost, text)
                )
        return found, open_ones


VERDICT = "pass-fail"

MOST_TOGETHER = 64
"""So many meanings of the labels so far go on; chosen."""

AGAIN = 1
"""What it costs that two labels say one place: rather they say two; chosen."""


def _sort(one: Stood) -> str:
    """Return which sort of figure a cell can only be: a verdict in words is none of the others."""
    if one.seen.figure:
        return "" if one.seen.cell.text.strip() in {"0", "1"} else "number"
    return VERDICT if one.seen.mark else ""


_KINDS = ("leg", "station", "direction", "surface", "valve", "position", "partial", "area", "spot")


def _combined(ways: Sequence[Sequence[Told]], figure: str) -> list[Told]:
    """Return every choice of one meaning a label in which no two contradict, the cheapest of like ones."""
    states = [Told(figure, ())]
    for label in ways:
        found: dict[tuple[object, ...], Told] = {}
        for so_far in states:
            for told in label:
                both = _both(so_far, told)
                if both is None:
                    continue
                key = (both.figure, both.places, both.span)
                if key not in found or both.cost < found[key].cost:
                    found[key] = both
        states = sorted(found.values(), key=lambda told: told.cost)[:MOST_TOGETHER]
    return states


def _both(one: Told, other: Told) -> Told | None:
    """Return what two labels say together, None where they contradict each other."""
    if (one.figure and other.figure and one.figure != other.figure) or (one.span and other.span):
        return None
    places = dict(one.places)
    again = sum(kind in places for kind, _ in other.places)
    if any(places.setdefault(kind, value) != value for kind, value in other.places):
        return None
    cost = one.cost + other.cost + AGAIN * again
    return Told(
        one.figure or other.figure, tuple(sorted(places.items())), one.unit or other.unit,
        one.basis or other.basis, cost, one.span or other.span,
    )  # fmt: skip
