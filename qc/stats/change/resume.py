"""A series taken up again: only what is new, or comes after a correction, is judged.

A *mark* is the state of a detector after so many points, with a digest of all it had been fed until then.
When a series is judged again, the last mark whose digest is still that of the readings is gone on from. A
late or a corrected reading, another rate, name or setting changes the digests from its place on, so that no
later mark holds any more. What comes out is bit for bit what judging from nothing gives.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from hashlib import blake2b
from importlib import resources
from itertools import takewhile
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from qc.plain import JsonObject
from qc.stats.change.counts import Counts, CountState, check_counts
from qc.stats.change.input import check_as_many, check_setting, check_values, noise_of_points, rates_of
from qc.stats.change.result import Detection, Shape
from qc.stats.change.state import DetectorState
from qc.stats.change.thresholds import HIGHEST_RATE
from qc.stats.noise import Noise
from qc.stats.numbers import Floats, Values
from qc.stats.tabled import Tabled

State = TypeVar("State")

FORMAT = 1
"""Of the record that is kept."""

PROGRAM = (".py", ".csv")
ROOMS = ("change", "wear", "noise", "numbers")  # the detector, what wears, and what both stand on
"""Code and tables of the statistics: what the detector is made of, and a little more."""

SPACING = 50
"""Points between marks: more than so many before a corrected reading are never judged again for it."""

MOST = 20
"""Marks that are kept beside the newest: the last thousand points."""

DIGEST_BYTES = 16  # chosen: 128 bits, so that no two pasts share one by chance, and a mark stays small


@dataclass(frozen=True, slots=True)
class Mark:
    """How the detector stood after so many points, and the digest of what it had been fed."""

    points: int
    digest: str
    state: JsonObject


@dataclass(frozen=True, slots=True)
class KeptState(Tabled):
    """The marks of one series, oldest first; empty where it is judged for the first time."""

    marks: tuple[Mark, ...] = ()

    def to_dict(self) -> JsonObject:
        """Plain values, ready for JSON; of its signals each mark tells those that the one before has not."""
        told: list[Any] = []
        rows = []
        for mark in self.marks:
            own = mark.state["signals"]
            same = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(told, own, strict=False)))
            rows.append([mark.points, mark.digest, {**mark.state, "signals": [same, own[same:]]}])
            told = own
        return {"format": FORMAT, "marks": rows}

    @classmethod
    def from_dict(cls, record: JsonObject | None) -> KeptState:
        """Undo `to_dict`; what another version of the program kept is passed over."""
        if record is None or record.get("format") != FORMAT:
            return cls()
        told: list[Any] = []
        marks = []
        for points, digest, state in record["marks"]:
            same, more = state["signals"]
            told = [*told[:same], *more]
            marks.append(Mark(int(points), digest, {**state, "signals": told}))
        return cls(tuple(marks))


def detect_further(
    values: Values,
    *,
    false_alarm_rate: Values,
    labels: Sequence[object],
    before: KeptState,
    shape: Shape = "normal",
    resolution: float | None = None,
    settled: int = 0,
    noise: Noise | Sequence[Noise] | None = None,
    lots: Sequence[str | None] | None = None,
) -> tuple[Detection, KeptState]:
    """Find where a series changed, going on from where it was judged before.

    Parameters
    ----------
    values : sequence of float, length n
        The whole series in order of making. [unit of the characteristic]
    false_alarm_rate : sequence of float, length n
        Of each point, as for `detect`.
    labels : sequence, length n
        Names of the pieces.
    before : KeptState
        What the last judging left; anything may have changed since.
    shape, resolution, settled, noise, lots
        As for `detect`.

    Returns
    -------
    Detection
        That of `detect` (errors too), without the evidence at each point.
    KeptState
        To be kept for the next time.

    Examples
    --------
    >>> readings = [5.1, 4.9, 5.0, 5.2, 4.8, 5.0, 5.1, 4.9, 7.0, 7.1, 6.9]
    >>> before = KeptState()
    >>> for n in (8, 11):
    ...     found, before = detect_further(
    ...         readings[:n], false_alarm_rate=[0.001] * n, labels=list("abcdefghijk")[:n], before=before
    ...     )
    >>> [(s.kind, s.start) for s in found.signals], [mark.points for mark in before.marks]
    ([('shift', 9)], [11])
    """
    setting = check_setting(shape, resolution)
    series = check_values(values, setting.shape)
    rates = np.asarray(false_alarm_rate, dtype=np.float64)
    check_as_many(rates, "rates", series.size)
    check_as_many(labels, "labels", series.size)
    check_as_many(lots, "lots", series.size)
    noises = noise_of_points(noise, setting.shape, series.size)

    def begin(mark: Mark | None) -> DetectorState:
        if mark is None:
            return DetectorState(shape=setting.shape, resolution=setting.resolution)
        learned = noises[mark.points - 1]
        return DetectorState.from_mark(mark.state, series, labels, setting=setting, noise=learned, lots=lots)

    def judge(state: DetectorState, point: int) -> None:
        value, label, noise = float(series[point]), labels[point], noises[point]
        rate, lot = float(rates[point]), None if lots is None else lots[point]
        silent = point < settled
        state.add(value, label=label, false_alarm_rate=rate, silent=silent, noise=noise, lot=lot)

    header = ("measured", setting.shape, setting.resolution)
    readings, learned = _fed(series, rates, settled, labels), _learned(noises, lots)
    fed = (item + beside for item, beside in zip(readings, learned, strict=True))
    state, kept = _follow(before, header, fed, series.size, begin, judge, DetectorState.mark)
    return state.detection(series), kept


def count_further(
    counts: Counts,
    sizes: Counts,
    false_alarm_rate: Values,
    *,
    before: KeptState,
    pass_fail: bool = False,
    settled: int = 0,
) -> tuple[Detection, KeptState]:
    """Find where a rate of defects or failures changed, going on from where it was judged before.

    Parameters
    ----------
    counts, sizes, false_alarm_rate, pass_fail, settled
        As for `detect_counts`.
    before : KeptState
        What the last judging left.

    Returns
    -------
    Detection
        That of `detect_counts` (errors too), without the evidence at each point.
    KeptState
        To be kept for the next time.
    """
    number, size = check_counts(counts, sizes, pass_fail=pass_fail)
    rates = rates_of(false_alarm_rate, number.size)

    def begin(mark: Mark | None) -> CountState:
        return CountState(number, size, pass_fail, None if mark is None else mark.state)

    def judge(state: CountState, point: int) -> None:
        state.add(float(rates[point]), silent=point < settled)

    fed = _fed(size, rates, settled, [int(count) for count in number])
    header = ("counted", pass_fail)
    state, kept = _follow(before, header, fed, number.size, begin, judge, CountState.mark)
    return state.detection(float(rates[-1]) if rates.size else HIGHEST_RATE), kept


def _follow(
    before: KeptState,
    header: tuple[object, ...],
    fed: Iterator[bytes],
    points: int,
    begin: Callable[[Mark | None], State],
    judge: Callable[[State, int], None],
    mark: Callable[[State], JsonObject],
) -> tuple[State, KeptState]:
    """Go on from the last mark that holds, and set the marks anew."""
    # at fixed multiples: a series judged card by card then keeps the same marks as one judged at once
    places = [*range(SPACING, points, SPACING)][-MOST:] + [points] if points else []
    digests = _digests(header, fed, {*places, *(m.points for m in before.marks)})
    hold = [m for m in before.marks if digests.get(m.points) == m.digest]
    state = begin(hold[-1] if hold else None)
    marks = {m.points: m for m in hold if m.points in places}
    for point in range(hold[-1].points if hold else 0, points):
        judge(state, point)
        if point + 1 in places:
            marks[point + 1] = Mark(point + 1, digests[point + 1], mark(state))
    return state, KeptState(tuple(marks[place] for place in sorted(marks)))


def _digests(header: tuple[object, ...], fed: Iterator[bytes], wanted: set[int]) -> dict[int, str]:
    """Digest of the header and the first so many points."""
    # one digest over the header and the points, read off on the way: the series is hashed once however many
    # marks
    digest = blake2b(repr((FORMAT, _program(), *header)).encode(), digest_size=DIGEST_BYTES)
    found = {}
    for point, item in enumerate(fed, start=1):
        digest.update(item)
        if point in wanted:
            found[point] = digest.hexdigest()
    return found


def _fed(values: Floats, rates: Floats, settled: int, labels: Sequence[object]) -> Iterator[bytes]:
    """All that bears on the judgement of each point, as bytes."""
    for point, (value, rate, label) in enumerate(zip(values, rates, labels, strict=True)):
        name = str(label).encode()
        yield struct.pack("<dd?I", value, rate, point < settled, len(name)) + name


def _learned(noises: Sequence[Noise], lots: Sequence[str | None] | None) -> Iterator[bytes]:
    """Give what is known of the noise at each point, and its lot, as bytes."""
    known: tuple[Noise | None, bytes] = (None, b"")
    for point, noise in enumerate(noises):
        if noise is not known[0]:
            figures = (
                noise.skew,
                noise.tails,
                noise.odd_share,
                noise.odd_reach,
                noise.lots,
                noise.echo,
                noise.fade,
            )
            known = noise, struct.pack("<7d", *figures)
        lot = None if lots is None else lots[point]
        yield known[1] + (b"\0" if lot is None else b"\1" + struct.pack("<I", len(lot)) + lot.encode())


@cache
def _program() -> str:
    """Digest of the statistics themselves: what another version of the program found is not gone on from."""
    digest = blake2b(digest_size=DIGEST_BYTES)
    for file in program_files():
        digest.update(file.read_bytes())
    return digest.hexdigest()


def program_fingerprint() -> str:
    """Return the digest of the statistics that judge: another one stands for another version of them."""
    return _program()


def program_files() -> list[Path]:
    """Every file that bears on what the detector finds: its rooms whole, and the floor they share."""
    stats = Path(str(resources.files("qc.stats")))
    own = [file for room in ROOMS for file in sorted((stats / room).rglob("*"))]
    return [file for file in [*sorted(stats.iterdir()), *own] if file.suffix in PROGRAM]
