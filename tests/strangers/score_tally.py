"""From what was told and what is true to counts: each with its error, whatever workshops they come from.

A signal counts once, as it was first told; one raised at a piece that had been judged quietly before is a
*later retelling* and counts apart. Places are those of the series as charted at the end.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from score_figures import Cell, Excess, Plain, Share, Spread

Json = dict[str, Any]
COUNTED = frozenset({"counts", "passfail"})
"""Noise of figures of which one kind of signal only is told."""
WHOLE = 0.9
"""From this share of its pieces touched on, a change has one size."""
FEW = 40
"""Under so many pieces the answer about the limits is counted apart."""
FAR_ABOVE = 1.67
"""A true Ppk from here on should be proven before long."""
CAUSES = ("person", "gauge", "batch", "tool")


@dataclass(frozen=True, slots=True)
class Told:
    """A true change and the signals that speak of it, as first told and at each look."""

    series: Json
    change: Json
    first: Json | None
    looks: dict[str, list[Json]]
    ending: list[Json]

    @property
    def kind(self) -> str:
        """What was done to the series."""
        return str(self.change["kind"])

    @property
    def delay(self) -> int | None:
        """Pieces made after the first changed one until it was told."""
        return None if self.first is None else place_in(self.series)[self.first["raised"]] - self.first_place

    @property
    def first_place(self) -> int:
        """Place of the first changed piece."""
        return int(self.change["first"])


Line = tuple[str, str, Cell]
"""Section, what is counted, the figure."""


def tally(records: Sequence[Json]) -> list[Line]:
    """Count what some workshops' records hold.

    Parameters
    ----------
    records : sequence of dict
        From `score_replay.live_through`.

    Returns
    -------
    list of (section, what, figure)
        Always the same lines in the same order, whatever there is to count.
    """
    series = [one for record in records for one in record["series"] if one["points"]]
    told = [each for one in series for each in told_of(one)]
    limits = [
        (record["wanted"], one, c)
        for record in records
        for one in record["series"]
        if one["noise"] not in COUNTED  # a count has no such index: the pages say so
        for c in one.get("capable", ())
    ]
    return [*_false(series), *_true(told), *_suspects(told, series), *_capable(limits), *_rows(records)]


def place_in(series: Json) -> dict[str, int]:
    """Return the place of each piece of a series, from 1."""
    return {serial: number for number, serial in enumerate(series["points"], 1)}


def told_of(series: Json) -> list[Told]:
    """Give each change of a series the signals that speak of it."""
    place = place_in(series)

    def own(signals: Sequence[Json], number: int) -> list[Json]:
        return [s for s in signals if speaks_of(s, series["changes"], place) == number]

    found = []
    for number, change in enumerate(series["changes"]):
        news = own([s for s in series["told"] if not s["retold"]], number)
        begins = min((c["first"] for c in series["changes"][number + 1 :]), default=math.inf)
        # a look into which another change has come tells of both
        looks = {k: own(s, number) for k, s in change["looks"].items() if change["first"] + int(k) <= begins}
        found.append(
            Told(series, change, news[0] if news else None, looks, own(series["end"]["signals"], number))
        )
    return found


def speaks_of(signal: Json, changes: Sequence[Json], place: dict[str, int]) -> int | None:
    """Return the number of the change that a signal tells of, None where it tells of none.

    The latest change that had begun when it was raised, whose pieces the told stretch can hold, and that
    leads the way the signal says; a spread leads no way.
    """
    if signal["raised"] not in place or signal["start"] not in place:
        return None
    raised, start = place[signal["raised"]], place[signal["start"]]
    for number in reversed(range(len(changes))):
        change = changes[number]
        side = "above" if change["size_sd"] > 0 else "below"
        fits = change["kind"] == "spread" or signal["side"] in {"both", side}
        if change["first"] <= raised and start <= change["last"] and fits:
            return number
    return None


def false_of(series: Json) -> list[Json]:
    """Return the signals told before anything had changed, as first told."""
    place = place_in(series)
    return [s for s in series["told"] if not s["retold"] and place.get(s["raised"], 0) <= series["settled"]]


def _false(series: Sequence[Json]) -> Iterator[Line]:
    section = "False signals, as first told, on the budget's"
    for noise, own in [("all", list(series)), *_by(series, lambda one: str(one["noise"]))]:
        told = sum(len(false_of(one)) for one in own)
        yield section, noise, Excess(told, sum(one["expected"] for one in own))
    untouched = [one for one in series if not one["changes"]]
    for name, own in [
        ("in series without a change", untouched),
        ("before a first change", [one for one in series if one["changes"]]),
    ]:
        told = sum(len(false_of(one)) for one in own)
        yield section, name, Excess(told, sum(one["expected"] for one in own))
    again = [s for one in series for s in one["told"] if s["retold"] and _settled(s, one)]
    yield section, "later retellings beside them", Excess(len(again), sum(one["expected"] for one in series))
    gone = [
        not any(end["raised"] == signal["raised"] for end in one["end"]["signals"])
        for one in series
        for signal in false_of(one)
    ]
    yield section, "no longer told at the end", Share.over(gone)
    quiet = [one for one in series if not one["changes"] and not one["lost"] and len(one["points"]) >= 4]
    section = "Untouched series that drift at the end"
    for noise, own in [("all", quiet), *_by(quiet, lambda one: str(one["noise"]))]:
        yield section, noise, Share.over(one["end"]["behaviour"] == "drifting" for one in own)


def _settled(signal: Json, series: Json) -> bool:
    return bool(place_in(series).get(signal["raised"], 0) <= series["settled"])


def _true(told: Sequence[Told]) -> Iterator[Line]:
    for kind, own in [("all", list(told)), *_by(told, lambda one: one.kind, KINDS)]:
        section = f"True changes: {kind}"
        yield section, "told at all", Share.over(one.first is not None for one in own)
        yield section, "delay [pieces]", Spread(tuple(one.delay for one in own if one.delay is not None))
        first = [(one, one.first) for one in own if one.first is not None]
        yield section, "start within the set, first told", Share.over(_placed(*pair) for pair in first)
        ending = [(one, one.ending[0]) for one in own if one.ending]
        yield section, "start within the set, at the end", Share.over(_placed(*pair) for pair in ending)
        for pieces in ("20", "40"):
            looks = [(one, one.looks[pieces]) for one in own if pieces in one.looks]
            yield section, f"told after {pieces} pieces", Share.over(bool(signals) for _, signals in looks)
            kinds = [(one, s[0]) for one, s in looks if s and one.series["noise"] not in COUNTED]
            yield section, f"kind right after {pieces} pieces", Share.over(_alike(*pair) for pair in kinds)
        sized = [(one, s) for one, s in first if _is_sized(one, s)]
        yield section, "size within its interval, first told", Share.over(_holds(*pair) for pair in sized)
        late = [(one, one.looks["40"][0]) for one in own if one.looks.get("40")]
        later = [(one, s) for one, s in late if _is_sized(one, s)]
        yield (
            section,
            "size within its interval, after 40 pieces",
            Share.over(_holds(*pair) for pair in later),
        )


KINDS = ("shift", "trend", "spread", "single")


def _placed(one: Told, signal: Json) -> bool:
    place = place_in(one.series)
    return place.get(signal["low"], 0) <= one.first_place <= place.get(signal["high"], 0)


def _alike(one: Told, signal: Json) -> bool:
    return bool(signal["kind"] == one.kind)


def _is_sized(one: Told, signal: Json) -> bool:
    """Say whether a change has one size, and the signal tells that of a change of its kind."""
    whole = one.change["share"] >= WHOLE and one.series["noise"] not in COUNTED and one.kind != "trend"
    return whole and _alike(one, signal) and None not in signal["size"]


def _holds(one: Told, signal: Json) -> bool:
    size = one.change["size_sd"] - (1 if one.kind == "spread" else 0)
    low, _, high = signal["size"]
    return bool(low <= size * one.series["sd"] <= high)


def _suspects(told: Sequence[Told], series: Sequence[Json]) -> Iterator[Line]:
    innocent = [bool(s["suspects"]) for one in series for s in false_of(one)]
    yield "Suspects, first told", "false signals: something named", Share.over(innocent)
    looks: list[tuple[str, Callable[[Told], Json | None]]] = [
        ("first told", lambda one: one.first),
        ("after 20 pieces", lambda one: next(iter(one.looks.get("20", ())), None)),
    ]
    for when, look in looks:
        section = f"Suspects, {when}"
        seen = [(one, signal) for one in told if (signal := look(one)) is not None]
        recorded = [(one, signal) for one, signal in seen if one.change["cause"]["recorded"]]
        for cause, own in [
            ("all", recorded),
            *_by(recorded, lambda x: str(x[0].change["cause"]["kind"]), CAUSES),
        ]:
            yield (
                section,
                f"{cause}: first suspect of the right kind",
                Share.over(_first_right(*x) for x in own),
            )
            yield section, f"{cause}: and by its name", Share.over(_first_named(*x) for x in own)
            tied = Share.over(_first_named(*x) or _named_in_tie(*x) for x in own)
            yield section, f"{cause}: by its name, or in a tie that is said", tied
            yield section, f"{cause}: named at any place", Share.over(_named(*x) for x in own)
            yield section, f"{cause}: said not to have changed", Share.over(_denied(*x) for x in own)
        blank = [signal for one, signal in seen if not one.change["cause"]["recorded"]]
        yield section, "nothing recorded: something named", Share.over(bool(s["suspects"]) for s in blank)
        off = tuple(_days_off(one, suspect) for one, s in seen for suspect in s["suspects"] if suspect["day"])
        yield section, "days between suspect and true start", Spread(off)
        yield section, "suspects over a week off", Share.over(days > 7 for days in off)


def _first_right(one: Told, signal: Json) -> bool:
    return bool(signal["suspects"]) and signal["suspects"][0]["kind"] == one.change["cause"]["kind"]


def _first_named(one: Told, signal: Json) -> bool:
    return _first_right(one, signal) and bool(signal["suspects"][0]["name"] == one.change["cause"]["value"])


def _named(one: Told, signal: Json) -> bool:
    cause = one.change["cause"]
    return any((s["kind"], s["name"]) == (cause["kind"], cause["value"]) for s in signal["suspects"])


def _named_in_tie(one: Told, signal: Json) -> bool:
    """Say whether the cause began with the first suspect, and the record is said not to part them."""
    cause, suspects = one.change["cause"], signal["suspects"]
    same = [(s["kind"], s["name"]) for s in suspects if s["day"] == suspects[0]["day"]]
    return bool(signal.get("tied")) and (cause["kind"], cause["value"]) in same


def _denied(one: Told, signal: Json) -> bool:
    return bool(one.change["cause"]["kind"] in signal["unchanged"])


def _days_off(one: Told, suspect: Json) -> int:
    begun = date.fromisoformat(one.series["days"][one.first_place - 1])
    return abs((date.fromisoformat(suspect["day"]) - begun).days)


Answer = tuple[float, Json, Json]
"""Wanted Ppk, series, what was said of its limits."""


def _capable(limits: Sequence[Answer]) -> Iterator[Line]:
    groups: list[tuple[str, Sequence[Answer]]] = [
        ("all", limits),
        (f"under {FEW} pieces", [x for x in limits if x[2]["rests_on"] < FEW]),
        (f"{FEW} pieces and more", [x for x in limits if x[2]["rests_on"] >= FEW]),
        *_by(limits, lambda x: str(x[1]["noise"])),
    ]
    for name, own in groups:
        section = f"Limits: {name}"
        given = [x for x in own if x[2]["low"] is not None or x[2]["high"] is not None]
        yield section, "an interval is given", Share(len(given), len(own))
        yield section, "it covers the true Ppk (whole share)", Share.over(_covers(x, "ppk") for x in given)
        yield section, "it covers the worse side's", Share.over(_covers(x, "ppk_worse_side") for x in given)
        short = [x for x in own if x[1]["ppk_worse_side"] < x[0]]
        yield section, "proven although below what is wanted", Share.over(_says(x, "proven") for x in short)
        kept = [x for x in own if x[1]["ppk_worse_side"] >= x[0]]
        yield section, "called not kept although it is", Share.over(_says(x, "no") for x in kept)
        far = [x for x in own if x[1]["ppk_worse_side"] >= FAR_ABOVE]
        yield section, f"proven where truly {FAR_ABOVE} or more", Share.over(_says(x, "proven") for x in far)


def _covers(answer: Answer, which: str) -> bool:
    _, series, said = answer
    low = -math.inf if said["low"] is None else said["low"]
    high = math.inf if said["high"] is None else said["high"]
    return bool(low <= series[which] <= high)


def _says(answer: Answer, word: str) -> bool:
    return bool(answer[2]["answer"] == word)


def _rows(records: Sequence[Json]) -> Iterator[Line]:
    def whole(name: str) -> Plain:
        return Plain(sum(record["rows"][name] for record in records))

    section = "Rows"
    for name in ("rows", "accepted", "already_known", "held_rows"):
        yield section, name.replace("_", " "), whole(name)
    unmeant = sum(record["rows"]["held_rows"] - record["rows"]["meant"] for record in records)
    yield section, "held, not meant to be", Share(unmeant, sum(record["rows"]["rows"] for record in records))
    yield section, "sheets refused", Plain(sum(len(record["rows"]["refused"]) for record in records))
    every = [one for record in records for one in record["series"]]
    yield section, "series charted, of all true ones", Share.over(bool(one["points"]) for one in every)
    yield section, "changes that no charted piece shows", Plain(sum(one["lost"] for one in every))
    yield section, "workshops", Plain(len(records))
    yield section, "seconds in all", Plain(sum(sum(record["seconds"].values()) for record in records))


NOISES = ("normal", "lots", "t5", "correlated", "skewed", "mixed", "counts", "passfail")


def _by(
    items: Sequence[Any], word: Callable[[Any], str], words: Sequence[str] = NOISES
) -> list[tuple[str, list[Any]]]:
    """Part items by a word of theirs; each word keeps its place, so that any tables have the same lines."""
    return [(name, [item for item in items if word(item) == name]) for name in words]
