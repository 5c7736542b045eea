"""What is to be known beside a signal: what stands in it, that it waits, which pieces are to tick off."""

from __future__ import annotations

from collections.abc import Sequence

from qc.jobs.judging import Joined
from qc.jobs.pieces import TO_DECIDE
from qc.plain import JsonObject
from qc.words import listed, pieces_words, some_of

WAITS = (
    "The readings as they stand do not show it any more, and nobody has answered it: it waits as it was told "
    "last, and its pieces stay held."
)


def beside_words(
    joined: Sequence[Joined],
    to_tick: Sequence[str],
    to_decide: Sequence[str] = (),
    *,
    numbers: Sequence[int] = (),
    waits: bool = False,
    back_of: str = "",
) -> tuple[str, ...]:
    """Return what is to be known beside a signal, in sentences.

    Parameters
    ----------
    joined : sequence of Joined
        Open signals that stand in it.
    to_tick : sequence of str
        Serials still to deal with after its cause was mended.
    to_decide : sequence of str
        Of these pieces those that have left, and about which nobody has decided.
    numbers : sequence of int
        That it answers to, those of the joined ones among them.
    waits : bool
        It is open, and the readings show it no more.
    back_of : str
        What the signal is called that it proved to be the end of.
    """
    one = f"Signals {listed([str(n) for n in sorted(numbers)])} are one now: closing it answers them all."
    said = [*map(joined_words, joined), *([one] if joined and len(numbers) > 1 else [])]
    if not joined and len(numbers) > 1:
        first, *others = sorted(numbers)
        said.append(f"Told as {listed([str(n) for n in others])}, too: the same change as signal {first}.")
    if back_of:
        said.append(
            f"It was the way back of signal {back_of}, which says since when it is over: no answer is asked."
        )
    return (*said, *([WAITS] if waits else []), *to_tick_words(to_tick), *to_decide_words(to_decide))


def joined_words(one: Joined) -> str:
    """Say of a signal that stands in another one how it was told last.

    Examples
    --------
    >>> from datetime import date
    >>> from qc.watch import SignalResult
    >>> day = date(2026, 5, 4)
    >>> shift = SignalResult(
    ...     "shift", "below", 34, "S-034", day, 33, "S-033", day, 32, 33, -2.0, -3.0, -1.0, 2.0, "mm", 0.004,
    ...     2, sentence="Rise has come out 2 mm lower.", because="Coincides with batch K-7.",
    ... )
    >>> joined_words(Joined("6", "ab12", shift))
    'Joined: signal 6, told last as: Rise has come out 2 mm lower. Coincides with batch K-7.'
    """
    return f"Joined: signal {one.name}, told last as: {one.found.sentence} {one.found.because}".strip()


def to_tick_words(serials: Sequence[str]) -> list[str]:
    """Say how many pieces are still to deal with after a mend, in one sentence; nothing where none are."""
    if not serials:
        return []
    stay = "It stays" if len(serials) == 1 else "They stay"
    said = f"{pieces_words(len(serials))} made under it {'is' if len(serials) == 1 else 'are'} in the house"
    return [f"{said}, not measured since and not ticked off: {some_of(serials)}. {stay} on the list: qc hold"]


def to_decide_words(serials: Sequence[str]) -> list[str]:
    """Say of pieces that had left before their cause was mended that somebody has to decide about them.

    Examples
    --------
    >>> to_decide_words(["A-32"])[0][:80]
    '1 piece made under it has left, and nobody has decided about it: A-32. Decide wi'
    """
    if not serials:
        return []
    has, them = ("has", "it") if len(serials) == 1 else ("have", "them")
    said = f"{pieces_words(len(serials))} made under it {has} left, and nobody has decided about {them}"
    return [f"{said}: {some_of(serials)}. {TO_DECIDE[0].upper()}{TO_DECIDE[1:]}, and tick {them} off."]


def joined_plain(one: Joined) -> JsonObject:
    """Return plain values of a signal that stands in another one."""
    found = one.found.to_dict()
    told = {name: found[name] for name in ("kind", "side", "start_serial", "size", "suspects")}
    return {
        "id": one.id,
        "name": one.name,
        **told,
        "sentence": one.found.sentence,
        "because": one.found.because,
    }
