"""Who holds what: held rows by bench, pieces to hold by where they are, open reactions by who has them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from qc import clock
from qc.jobs.judging import SignalOfDay
from qc.jobs.pieces import HoldList
from qc.jobs.signals import ANSWERED_WITHIN, asked_since, had_before, had_words, owner_of
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.sayings import OPEN_STATES
from qc.words import count_words

OLD_ROW = timedelta(days=7)
"""From so long after its hand-in a held row is called old; chosen: as long as a reaction may take."""


@dataclass(frozen=True, slots=True)
class Share:
    """What one bench, place or person holds.

    Attributes
    ----------
    name : str
        Title of the card, name of the place, code of the person; empty where it is nobody's.
    number : int
        How much.
    late : int
        How much of it has waited for too long.
    had : str
        Of what is nobody's since it was opened anew: code of whoever had it before.
    """

    name: str
    number: int
    late: int = 0
    had: str = ""

    def to_dict(self, key: str) -> JsonObject:
        """Return plain values, the name under `key`."""
        had = {"had_before": self.had} if self.had else {}
        return {key: self.name or None, "number": self.number, "late": self.late, **had}


def share_words(shares: Sequence[Share], nobody: str, most: int = 3) -> str:
    """Say who holds how much, those with most; the rest in one sum.

    Parameters
    ----------
    shares : sequence of Share
        Worst first.
    nobody : str
        What stands for an empty name.
    most : int
        So many are named.

    Examples
    --------
    >>> share_words([Share("Slide card", 4), Share("", 2), Share("Bell map", 1), Share("Log", 1)], "?", 2)
    'Slide card 4, ? 2, 2 others 2'
    >>> share_words([Share("", 1, had="ML"), Share("", 2)], "nobody yet")
    'nobody since ML had it 1, nobody yet 2'
    """
    shown = shares if len(shares) <= most + 1 else shares[:most]
    said = [f"{one.name or had_words(one.had) or nobody} {one.number}" for one in shown]
    if rest := shares[len(shown) :]:
        said.append(f"{count_words(len(rest), 'other')} {sum(one.number for one in rest)}")
    return ", ".join(said)


@dataclass(frozen=True, slots=True)
class Holders:
    """What waits, and with whom; each list worst first: most that is late, then most.

    Attributes
    ----------
    rows : tuple of Share
        Held rows by the card they came on; late from a week after their hand-in.
    pieces : tuple of Share
        Pieces to hold that are in the house, by where they are.
    reactions : tuple of Share
        Open signals by who has them in hand; late once the day by which they were to be closed is past.
    """

    rows: tuple[Share, ...] = ()
    pieces: tuple[Share, ...] = ()
    reactions: tuple[Share, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return plain values; the pieces to hold are those of ``qc hold --json``, each with where it is."""
        return {
            "held_rows": [one.to_dict("card") for one in self.rows],
            "reactions": [one.to_dict("owner") for one in self.reactions],
        }


def who_holds(workshop: Workshop, signals: Iterable[SignalOfDay], hold: HoldList | None = None) -> Holders:
    """Return who holds what on the workshop's day.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    signals : iterable of SignalOfDay
        All of that day; those that wait for nobody are passed over.
    hold : HoldList, optional
        The pieces to hold of that day; without it nothing is told of pieces.
    """
    # an event says "play-test" in small letters where the stage is called so in large ones
    bench = {row.serial: row.whereabouts.bench for row in (hold.waiting if hold else ())}
    where = [f"{name[:1].upper()}{name[1:]}" for name in bench.values()]
    return Holders(_rows(workshop), _shares(where, ()), _reactions(workshop, signals))


def _rows(workshop: Workshop) -> tuple[Share, ...]:
    titles = {card.id: card.title for card in workshop.plan.cards}
    card_of = {one.sheet: titles.get(one.card, one.card) for one in workshop.store.sheets()}
    zone, since = workshop.plan.workshop.time_zone, workshop.today - OLD_ROW
    waiting = [(card_of.get(row.sheet, ""), row.entered) for row in workshop.store.held()]
    late = [name for name, entered in waiting if clock.day_of(entered, zone) < since]
    return _shares([name for name, _ in waiting], late)


def _reactions(workshop: Workshop, signals: Iterable[SignalOfDay]) -> tuple[Share, ...]:
    """Count the reactions that wait by who has them; of those opened anew by who had them before."""
    since, zone = workshop.today - ANSWERED_WITHIN, workshop.plan.workshop.time_zone
    number: Counter[tuple[str, str]] = Counter()
    late: Counter[tuple[str, str]] = Counter()
    for one in signals:
        if _waits(one):
            owner = owner_of(one.said) or ""
            whose = owner, "" if owner else had_before(one.said)
            number[whose] += 1
            late[whose] += asked_since(one, zone) < since
    found = [Share(name, count, late[name, had], had) for (name, had), count in number.items()]
    return tuple(sorted(found, key=lambda one: (-one.late, -one.number, one.name, one.had)))


def _waits(one: SignalOfDay) -> bool:
    """Say whether a signal waits for somebody: one that nobody took in hand and that is over does not."""
    if one.state not in OPEN_STATES or not one.listed:
        return False
    return one.state == "in-hand" or one.found.ended is None


def _shares(names: Iterable[str], late: Sequence[str]) -> tuple[Share, ...]:
    number, old = Counter(names), Counter(late)
    found = [Share(name, count, old[name]) for name, count in number.items()]
    return tuple(sorted(found, key=lambda one: (-one.late, -one.number, one.name)))
