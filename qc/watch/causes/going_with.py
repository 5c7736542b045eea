"""Which earlier figures of the same pieces go with a final result: an association, never a cause.

What moved at the same time is told by the suspects of a signal. This asks another question: of pieces made
side by side, did those with more of an earlier figure come out worse?
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from statistics import median

import polars as pl

from qc.plain import JsonObject
from qc.plan import Characteristic, Plan, Stage
from qc.stats import LEAST_TOGETHER, RankAssociation, corrected_p_values, rank_association
from qc.watch.pieces import PLAY_TEST, play_test_stage
from qc.watch.results import Point, SeriesVerdict
from qc.words import count_words, inside, pieces_words, places_words, quantity_words

CHANCE = 0.05
"""So often all figures looked at together name one that has nothing to do with its result (common practice,
no source)."""

LEAK_UNIT = "cm3/min"

SCREENED_BY = (
    "Ranks within each model, every piece against the four made before and after it; lots and drift lower "
    "the number of pieces counted (Clifford, Richardson and Hemon, Biometrics 45, 1989; Newey and West, "
    "Econometrica 55, 1987), and the chances are "
    "corrected for all that was looked at (Holm, Scandinavian Journal of Statistics 6, 1979): where nothing "
    "goes with anything, one screening in twenty names a figure. What goes together need not be cause and "
    "effect."
)


@dataclass(frozen=True, slots=True)
class Earlier:
    """A figure of an earlier stage, or a final result: id and name of stage and characteristic."""

    stage: str
    stage_name: str
    characteristic: str
    name: str
    unit: str
    kind: str
    noun: str
    above: str
    below: str

    @classmethod
    def of(cls, stage: Stage, one: Characteristic) -> Earlier:
        """Take it from the plan, with its words."""
        words = one.words
        noun = words.get("noun") or inside(one.name)
        above, below = words.get("above", "higher"), words.get("below", "lower")
        return cls(stage.id, stage.name, one.id, one.name, one.unit, one.kind, noun, above, below)

    @property
    def title(self) -> str:
        """Stage and name, the way a row names it."""
        return f"{self.stage_name}: {self.name}"


@dataclass(frozen=True, slots=True)
class GoesWith:
    """An earlier figure that goes with a result.

    Attributes
    ----------
    figure : Earlier
        The earlier figure, of the piece or of its parts.
    found : RankAssociation
        The correlation; its interval holds for all figures looked at together, 95 %.
    p_value : float
        Corrected for all that was looked at.
    sentence : str
        Which way it goes, and how pieces with much of it came out beside those with little.
    """

    figure: Earlier
    found: RankAssociation
    p_value: float
    sentence: str

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "stage": self.figure.stage,
            "characteristic": self.figure.characteristic,
            "name": self.figure.title,
            "pieces": self.found.n,
            "counts_as": self.found.counts_as,
            "correlation": self.found.correlation,
            "interval": list(self.found.interval),
            "p_value": self.p_value,
            "sentence": self.sentence,
        }


@dataclass(frozen=True, slots=True)
class ScreenedResult:
    """A final result with the earlier figures that go with it.

    Attributes
    ----------
    result : Earlier
        What was asked about.
    pieces : int
        Pieces that have it.
    looked_at : tuple of Earlier
        Earlier figures that enough of these pieces have.
    too_few : tuple of Earlier
        Those that too few of them have to say anything.
    goes_with : tuple of GoesWith
        The clearest first; empty where nothing is clearer than chance.
    """

    result: Earlier
    pieces: int
    looked_at: tuple[Earlier, ...]
    too_few: tuple[Earlier, ...]
    goes_with: tuple[GoesWith, ...] = ()

    @property
    def sentence(self) -> str:
        """Say what came of it, in one sentence."""
        if self.goes_with:
            return " ".join(one.sentence for one in self.goes_with)
        if not self.looked_at:
            return (
                f"Too few pieces: {pieces_words(self.pieces)} with this result, and no earlier figure on "
                f"{LEAST_TOGETHER} of them."
            )
        asked = count_words(len(self.looked_at), "earlier figure")
        return f"Nothing clearer than chance among {asked} of {pieces_words(self.pieces)}."

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "stage": self.result.stage,
            "characteristic": self.result.characteristic,
            "name": self.result.title,
            "unit": self.result.unit,
            "pieces": self.pieces,
            "looked_at": [one.title for one in self.looked_at],
            "too_few": [one.title for one in self.too_few],
            "goes_with": [one.to_dict() for one in self.goes_with],
            "sentence": self.sentence,
        }


@dataclass(frozen=True, slots=True)
class _Read:
    """One figure of one piece, with what it is ranked among."""

    serial: str
    day: date
    group: tuple[str, str]
    value: float
    shown: float


def final_results(plan: Plan) -> tuple[Earlier, ...]:
    """Return what a workshop is judged by in the end: leaks, the scatter of the notes, the play-test."""
    found = []
    tested_at, name = play_test_stage(plan)
    for stage in plan.stages:
        for one in filter(lambda own: own.charted, stage.characteristics):
            leak = one.kind == "measured" and one.unit == LEAK_UNIT
            scatter = one.derive is not None and one.derive.what == "note-scatter"
            if leak or scatter or (one.kind == "pass-fail" and stage.id == tested_at):
                found.append(Earlier.of(stage, one))
    if not any(one.stage == tested_at and one.kind == "pass-fail" for one in found):
        words = ("more often", "less often")
        verdict = Earlier(
            tested_at, name, PLAY_TEST, "Verdict", "fault", "pass-fail", "play-test failures", *words
        )
        found.append(verdict)
    return tuple(found)


def screen(
    plan: Plan,
    verdicts: Iterable[SeriesVerdict],
    homes: Mapping[str, str],
    tests: pl.DataFrame,
    asked: Sequence[Earlier] = (),
) -> tuple[ScreenedResult, ...]:
    """Ask of each final result which earlier figures of the same pieces go with it.

    Parameters
    ----------
    plan : Plan
        Gives the route.
    verdicts : iterable of SeriesVerdict
        Their points are the figures, one a piece; what a lead left out takes no part.
    homes : mapping of str to str
        The piece that each part is in: figures of its parts are figures of the piece.
    tests : polars.DataFrame
        Play-tests: `serial`, `model`, `day`, `code`; the first of a piece counts.
    asked : sequence of Earlier
        The results; `final_results` of the plan when empty.

    Returns
    -------
    tuple of ScreenedResult
        In route order. Corrected over all results and figures together.
    """
    reads = _reads(verdicts)
    reads.setdefault((play_test_stage(plan)[0], PLAY_TEST), _tested(tests))
    found: list[tuple[ScreenedResult, list[tuple[Earlier, RankAssociation]]]] = []
    for result in asked or final_results(plan):
        own = reads.get((result.stage, result.characteristic), [])
        found.append(_screened(plan, result, own, reads, homes))
    chances = iter(corrected_p_values([one.p_value for _, asked_of in found for _, one in asked_of]))
    whole = sum(len(asked_of) for _, asked_of in found)
    told = []
    for screened, asked_of in found:
        named = [(figure, one, next(chances)) for figure, one in asked_of]
        clear = sorted((one for one in named if one[2] <= CHANCE), key=lambda one: one[2])
        goes = tuple(_told(screened.result, reads, homes, *one, of=whole) for one in clear)
        told.append(replace(screened, goes_with=goes))
    return tuple(told)


def _reads(verdicts: Iterable[SeriesVerdict]) -> dict[tuple[str, str], list[_Read]]:
    """Gather the points of all families of each figure, in order of making."""
    found: dict[tuple[str, str], list[_Read]] = {}
    for verdict in verdicts:
        own = found.setdefault((verdict.key.stage, verdict.key.characteristic), [])
        own += [_read(verdict.key.family, point) for point in verdict.points if not point.left_out]
    return {key: sorted(own, key=lambda one: one.day) for key, own in found.items()}


def _read(family: str, point: Point) -> _Read:
    return _Read(point.serial, point.day, (family, point.model), point.value, point.measured)


def _tested(tests: pl.DataFrame) -> list[_Read]:
    rows = tests.filter(pl.col("code").fill_null("") != "").sort("day", maintain_order=True)
    first = rows.unique("serial", keep="first", maintain_order=True)
    return [
        _Read(serial, day, ("", model or ""), float(code != "pass"), float(code != "pass"))
        for serial, day, model, code in first.select("serial", "day", "model", "code").iter_rows()
        if serial
    ]


def _earlier(plan: Plan, result: Earlier) -> tuple[Earlier, ...]:
    """Return what is measured before a result: at earlier stages, or listed before it at its own.

    What is computed from the same readings as the result goes with it by itself and is no answer.
    """
    found: list[Earlier] = []
    own = plan.characteristic(result.stage, result.characteristic)
    for stage in plan.stages:
        for one in stage.characteristics:
            if one is own:
                return tuple(found)
            here = own is not None and stage.id == result.stage
            if one.charted and not (here and own is not None and set(one.sources) & set(own.sources)):
                found.append(Earlier.of(stage, one))
        if stage.id == result.stage:
            return tuple(found)
    return tuple(found)


def _screened(
    plan: Plan,
    result: Earlier,
    own: Sequence[_Read],
    reads: Mapping[tuple[str, str], Sequence[_Read]],
    homes: Mapping[str, str],
) -> tuple[ScreenedResult, list[tuple[Earlier, RankAssociation]]]:
    found: list[tuple[Earlier, RankAssociation]] = []
    few: list[Earlier] = []
    for figure in _earlier(plan, result):
        one = _association(own, _of_pieces(reads.get((figure.stage, figure.characteristic), ()), homes))
        if one is None:
            few.append(figure)
        else:
            found.append((figure, one))
    looked_at = tuple(figure for figure, _ in found)
    return ScreenedResult(result, len(own), looked_at, tuple(few)), found


def _of_pieces(reads: Iterable[_Read], homes: Mapping[str, str]) -> dict[str, float]:
    """Return a figure by piece: its own, or the mean of those of its parts."""
    found: dict[str, list[float]] = {}
    for one in reads:
        found.setdefault(one.serial, []).append(one.value)
        home, seen = one.serial, {one.serial}
        while (home := homes.get(home, "")) and home not in seen:
            seen.add(home)
            found.setdefault(home, []).append(one.value)
    return {serial: sum(values) / len(values) for serial, values in found.items()}


def _association(
    own: Sequence[_Read], figure: Mapping[str, float], confidence: float = 0.95
) -> RankAssociation | None:
    values = [figure.get(one.serial, math.nan) for one in own]
    results = [one.value for one in own]
    return rank_association(results, values, [one.group for one in own], confidence=confidence)


def _told(
    result: Earlier,
    reads: Mapping[tuple[str, str], Sequence[_Read]],
    homes: Mapping[str, str],
    figure: Earlier,
    found: RankAssociation,
    chance: float,
    *,
    of: int,
) -> GoesWith:
    """Say which way a figure goes with a result, with an interval as wide as all that was looked at asks."""
    own = reads[result.stage, result.characteristic]
    by_piece = _of_pieces(reads[figure.stage, figure.characteristic], homes)
    wide = _association(own, by_piece, 1.0 - CHANCE / of) or found
    way = figure.above if found.correlation > 0 else figure.below
    told, low, high = (places_words(one, 2) for one in (found.correlation, *wide.interval))
    sentence = (
        f"{result.noun[0].upper()}{result.noun[1:]}: {result.above} where the {figure.noun} is {way} (rank "
        f"correlation {told}, between {low} and {high}, {found.n} pieces). "
        f"{_thirds(result, figure, [one for one in own if one.serial in by_piece], found)}"
    )
    return GoesWith(figure, wide, chance, sentence)


def _thirds(result: Earlier, figure: Earlier, own: Sequence[_Read], found: RankAssociation) -> str:
    """Set the third of the pieces that had most of a figure beside the third that had least."""
    order = sorted(range(len(own)), key=lambda place: found.against[place][1])
    third = len(own) // 3
    least, most = ([own[place].shown for place in part] for part in (order[:third], order[-third:]))
    if result.kind == "pass-fail":
        said = [f"{sum(value > 0 for value in part)} of {third} failed" for part in (most, least)]
    else:
        said = [quantity_words(median(part), result.unit) for part in (most, least)]
        said = [f"the middle of {third} pieces was {words}" for words in said]
    return (
        f"Beside the pieces made with them, with the {figure.noun} {figure.above} {said[0]}, "
        f"{figure.below} {said[1]}."
    )
