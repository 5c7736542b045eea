"""What happened to a piece: events, remedies with what they changed, whether a return is a one-off."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import fmean

import polars as pl

from qc import clock
from qc.jobs.whole_piece.parts import PartOfPiece
from qc.jobs.whole_piece.sharing import Genealogy
from qc.jobs.workshop import Workshop
from qc.plain import FrameRow, JsonObject
from qc.plan import Stage
from qc.store import PieceWord
from qc.watch import cells_of, sources_of
from qc.words import dated_words, listed, plain_words, quantity_words, some_of

RARE = 0.05
"""So seldom, over all that a piece shares, chance alone brings back as many of one of them. Chosen."""


@dataclass(frozen=True, slots=True)
class PieceEvent:
    """One event in the life of a piece."""

    day: date
    kind: str
    said: str
    person: str

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"day": self.day.isoformat(), "kind": self.kind, "said": self.said, "person": self.person}


@dataclass(frozen=True, slots=True)
class Remedy:
    """Work done again on a piece, and what it changed.

    Attributes
    ----------
    day, said, person
        When, what in words, by whom.
    effects : tuple of str
        Figures before and after, and the next play-test, in words; empty where nothing was measured since.
    """

    day: date
    said: str
    person: str
    effects: tuple[str, ...]

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        told = {"day": self.day.isoformat(), "said": self.said, "person": self.person}
        return {**told, "effects": list(self.effects)}


@dataclass(frozen=True, slots=True)
class Return:
    """A return of a piece, beside what else came back.

    Attributes
    ----------
    day, cause
        When, and the code of the cause.
    alike : tuple of (str, date)
        Other pieces that came back for the same cause.
    shipped : int
        Pieces that had left by the workshop's day, this one included.
    shares : tuple of (str, str, int, int)
        Kind and name of what it bears, how many others that bear it left, how many of these came back.
    said : str
        Whether it is a one-off, in words.
    """

    day: date
    cause: str
    alike: tuple[tuple[str, date], ...]
    shipped: int
    shares: tuple[tuple[str, str, int, int], ...]
    said: str

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        shares = [
            {"kind": kind, "name": name, "shipped": left, "returned": back}
            for kind, name, left, back in self.shares
        ]
        return {
            "day": self.day.isoformat(),
            "cause": self.cause,
            "same_cause": [{"serial": serial, "day": day.isoformat()} for serial, day in self.alike],
            "shipped": self.shipped,
            "shares": shares,
            "said": self.said,
        }


def event_sentence(row: FrameRow) -> str:
    """Return an event in words.

    Examples
    --------
    >>> event_sentence({"kind": "play-test", "code": "pass", "person": "IS", "note": None})
    'play-test: pass, by IS'
    """
    text = row["kind"].replace("-", " ") if row["kind"] != "play-test" else "play-test"
    if row.get("code"):
        text += f": {row['code']}"
    if row.get("value") is not None:
        text += f", {plain_words(row['value'])} {row.get('unit') or ''}".rstrip()
    if row.get("stage"):
        text += f", stage {row['stage']}"
    if row.get("person"):
        text += f", by {row['person']}"
    return text + (f". {row['note']}" if row.get("note") else "")


def events_of(events: pl.DataFrame, happened: Iterable[PieceEvent] = ()) -> tuple[PieceEvent, ...]:
    """Return the events of a piece but parts built in, and what else happened, in order of the days."""
    rows = events.filter((pl.col("kind") != "part") & pl.col("day").is_not_null())
    told = [
        PieceEvent(row["day"], row["kind"], event_sentence(row), row["person"] or "")
        for row in rows.sort("day", "id", maintain_order=True).iter_rows(named=True)
    ]
    # of one day what was done stands before what was decided, and that before what left
    return tuple(sorted((*told, *happened), key=lambda one: (one.day, one.kind == "shipped")))


def happened_to(workshop: Workshop, serial: str, parts: Iterable[PartOfPiece]) -> list[PieceEvent]:
    """Return what no card of a piece tells: parts built in and changed, and what was decided about it."""
    found = []
    together: dict[tuple[date, str, str], list[str]] = {}
    for part in parts:
        name = f"{part.part} {part.serial}"
        if part.day:
            together.setdefault((part.day, part.came_from, part.person), []).append(name)
        if part.until is not None:
            went = f"went into {part.went_to}" if part.went_to else "taken out: another one took its place"
            found.append(PieceEvent(part.until, "part", f"{name} {went}", ""))
    for (day_in, came_from, person), names in together.items():
        said = f"{listed(names)} built in{f', out of {came_from}' if came_from else ''}"
        found.append(PieceEvent(day_in, "part", said + (f", by {person}" if person else ""), person))
    zone = workshop.plan.workshop.time_zone
    told: dict[tuple[object, ...], list[str]] = {}
    for one in workshop.store.decided_of_pieces([serial]):
        figure = workshop.plan.characteristic(one.stage, one.characteristic)
        names = told.setdefault((clock.day_of(one.when, zone), one.what, one.who, one.text), [])
        if figure is not None and figure.name not in names:
            names.append(figure.name)
    for (day, what, who, why), names in told.items():
        if isinstance(day, date) and day <= workshop.today:
            did = "kept back" if what is PieceWord.KEPT_BACK else "released"
            of = f" for {listed(names)}" if names else ""
            found.append(PieceEvent(day, "decided", f"{did}{of} by {who}: {why}", str(who)))
    return found


def remedies_of(workshop: Workshop, serial: str, events: pl.DataFrame) -> tuple[Remedy, ...]:
    """Return the rework of a piece with what it changed, in order of the days."""
    dated = events.filter(pl.col("day").is_not_null()).sort("day", "id", maintain_order=True)
    rows = dated.filter(pl.col("kind") == "rework").to_dicts()
    tests = dated.filter(pl.col("kind") == "play-test").select("day", "code").rows()
    ends: list[date | None] = [*(row["day"] for row in rows[1:]), None]
    found = []
    for row, end in zip(rows, ends, strict=False):
        effects = [
            effect
            for stage in workshop.plan.stages
            if not row["stage"] or stage.id == row["stage"]
            for effect in _effects(workshop, stage, serial, row["day"], end)
        ]
        test = next(((day, code) for day, code in tests if day >= row["day"]), None)
        effects += [f"play-test on {dated_words(test[0])}: {test[1]}"] if test and test[1] else []
        found.append(Remedy(row["day"], event_sentence(row), row["person"] or "", tuple(effects)))
    return tuple(found)


def _effects(workshop: Workshop, stage: Stage, serial: str, day: date, end: date | None) -> Iterator[str]:
    """Yield each figure of a stage that was measured before and after a day, both in words."""
    sources = sorted({name for one in stage.characteristics for name in sources_of(one)})
    if not sources:
        return
    rows = workshop.store.figures(stage.id, sources, until=workshop.today, serials=[serial])
    rows = rows.filter(pl.col("day") <= end) if end is not None and end > day else rows
    for characteristic in stage.characteristics if rows.height else ():
        own = rows.filter(pl.col("characteristic").is_in(sources_of(characteristic)))
        days = own["day"].unique().sort().to_list()
        # measured once on the day itself: before the work where it was measured again later, else after it
        before = [one for one in days if one < day] or [one for one in days[:-1] if one == day]
        after = [one for one in days if one >= day and one not in before]
        if not before or not after:
            continue
        was, now = (
            cells_of(own.filter(pl.col("day") <= last), workshop.plan, stage, characteristic)["value"]
            for last in (before[-1], after[-1])
        )
        if len(was) and len(now):
            first, then = (quantity_words(fmean(values), characteristic.unit) for values in (was, now))
            yield f"{characteristic.name}: {first} before, {then} after"


def returns_of(
    workshop: Workshop, serial: str, tree: Genealogy, suspected: Mapping[tuple[str, str], str]
) -> tuple[Return, ...]:
    """Return the returns of a piece, each beside what else came back, in order of the days.

    `suspected` is what its signals coincide with, by kind and name, with the signal's own name.
    """
    store, today = workshop.store, workshop.today
    back = store.events("returned", until=today).filter(pl.col("day").is_not_null())
    rows = back.select("serial", "day", "code").sort("day", maintain_order=True).rows()
    own = [(day, code or "") for one, day, code in rows if one == serial]
    if not own:
        return ()
    gone = set(store.events("shipped", until=today)["serial"].drop_nulls())
    bearing = {(kind, name): gone & set(tree.others(serial, kind, name)) for kind, name in tree.own(serial)}
    found = []
    for day, cause in own:
        alike = tuple((one, when) for one, when, code in rows if one != serial and (code or "") == cause)
        back_alike = {one for one, _ in alike}
        shares = tuple(
            (kind, name, len(others), len(others & back_alike)) for (kind, name), others in bearing.items()
        )
        said = _one_off(cause, alike, len(gone - {serial}), shares, suspected)
        found.append(Return(day, cause, alike, len(gone), shares, said))
    return tuple(found)


def _one_off(
    cause: str,
    alike: Sequence[tuple[str, date]],
    gone: int,
    shares: Sequence[tuple[str, str, int, int]],
    suspected: Mapping[tuple[str, str], str],
) -> str:
    """Say whether a return stands alone: by its cause, and by what it shares with others that came back."""
    named = cause or "no cause on record"
    others = {one for one, _ in alike}
    if not gone:
        return "Nothing else has left the shop, so there is nothing to compare it with."
    of = f"of {gone} other{'s' * (gone != 1)} that left"
    if others:
        same = f"came back for the same cause, {named} ({some_of(sorted(others))})"
        said = f"Not a one-off: {len(others)} {of} {same}."
    else:
        said = f"By its cause a one-off so far: none {of} came back for {named}."
    return f"{said} {_of_shares(shares, gone, len(others), suspected)}".rstrip()


def _of_shares(
    shares: Sequence[tuple[str, str, int, int]],
    gone: int,
    returned: int,
    suspected: Mapping[tuple[str, str], str],
) -> str:
    """Say of which batch or tool of the piece more came back for its cause than chance alone would bring.

    One that a signal of the piece suspected before is asked about by itself; of the others the rarest is
    looked for, so each counts as often as there are of them.
    """
    told = []
    for kind, name, left, back in shares:
        signal = suspected.get((kind, name), "")
        asked = 1 if signal else sum(row[:2] not in suspected for row in shares)
        by = f", which signal {signal} coincides with" if signal else ""
        if back:
            words = f"{kind} {name}{by}: {back} of {left} others came back for this cause"
            told.append((chance_of_returns(back, left, returned, gone), asked, words))
    if not told:
        return "Nothing that shares a batch or a tool with it came back for this cause." if shares else ""
    rare = sorted(row for row in told if row[0] * row[1] < RARE)
    if rare:
        words = "; ".join(f"{said}, by chance alone in {chance:.1%} of cases" for chance, _, said in rare)
        return f"More than chance: {words}."
    return f"Most of {min(told)[2]}, which chance alone brings about often enough."


def chance_of_returns(back: int, left: int, returned: int, gone: int) -> float:
    """Return how often chance alone brings back so many of a group, or more (hypergeometric upper tail).

    Parameters
    ----------
    back, left : int
        Of `left` pieces of the group that left, `back` came back.
    returned, gone : int
        The same over all that left.

    References
    ----------
    .. [1] R. A. Fisher, "The Design of Experiments", 1935, chapter 2: the exact test of a two by two table.

    Examples
    --------
    >>> round(chance_of_returns(3, 4, 4, 8), 4)  # three of four cups and more: 17 of 70
    0.2429
    """
    from scipy.stats import hypergeom

    return float(hypergeom.sf(back - 1, gone, returned, left))
