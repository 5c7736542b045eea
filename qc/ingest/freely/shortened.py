"""What the words over, beside and above a figure may mean on one card, shortened by any hand."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from qc.ingest.cards import FIGURE, CardHeadings
from qc.ingest.cells import KNOWN_NAMES, known_field, plain, split_unit
from qc.ingest.shapes import same_words
from qc.plan import PLACE

_TOKEN = re.compile(r"[^\W\d_]+(?:\+[^\W\d_]+)*\.?|\d+(?:[.,]\d+)?°?|[^\w\s]")
_ORDINAL = re.compile(r"\b(\d+)(?:st|nd|rd|th)\b")
_SIGNS = frozenset("/,;:=()[]@-–—._|·°*#&'\"")
_FILLERS = frozenset(
    "at in of on the an am bei der die das deg side tube no nr reading readings read value values measured "
    "wert messwert thickness diameter dia".split()
)
"""Words that may stand beside a name and add nothing to it."""

MOST_TOKENS = 9
"""A text of more words is a remark; chosen."""

MOST_WAYS = 16
"""So many meanings of one label are kept; chosen, more would be guessing."""

SAME, OTHER, BEGUN, SHORT, LETTER = 0, 1, 1, 2, 3
"""What it costs to take a word for one: the same, another word of benches, its start, some letters, one."""

INITIALS = 4
LEFT_OUT = 1
"""Costs of a name said by its first letters alone, and of each of its words that is not said; chosen."""

_VOWELS = frozenset("aeiouyäöü")


_State = tuple[str, frozenset[tuple[str, str]], str]
"""A figure or none, the places said so far, a unit or none."""

MOST_STATES = 40
"""So many ways to take the words so far go on; chosen."""


@dataclass(frozen=True, slots=True)
class Told:
    """One meaning of a label: the field of a figure or none, its places, unit, basis; `cost` of guessing."""

    figure: str
    places: tuple[tuple[str, str], ...]
    unit: str = ""
    basis: str = ""
    cost: int = 0
    span: tuple[tuple[str, str], ...] = ()


def word_cost(typed: str, word: str) -> int | None:
    """Return what it costs to take a typed word for another one; None where it cannot stand for it.

    Examples
    --------
    >>> [word_cost(t, w) for t, w in (("leak", "leak"), ("lk", "leak"), ("thr", "throat"), ("u", "upper"))]
    [0, 3, 1, 3]
    >>> word_cost("dnt", "dents"), word_cost("ofen", "leak")
    (2, None)
    """
    if typed == word or (len(word) > 3 and typed.rstrip("s") == word.rstrip("s")):
        return SAME
    if word in same_words(typed):
        return OTHER
    if not typed.isalpha() or not word or len(typed) > len(word) or typed[0] != word[0]:
        return None
    if word.startswith(typed):
        return LETTER if len(typed) == 1 else SHORT if len(typed) == 2 else BEGUN
    if len(typed) > 1 and not _VOWELS & set(typed[1:]) and _runs_through(typed, word):
        return SHORT if len(typed) > 2 else LETTER
    return None


def _runs_through(typed: str, word: str) -> bool:
    letters = iter(word)
    return all(letter in letters for letter in typed)


class Lexicon:
    """Tells what a label may mean in the words of one card, cheapest first."""

    def __init__(self, words: CardHeadings) -> None:
        self.words = words
        self.names = {field: _names(field, words) for field in words.figures}
        self._kept: dict[tuple[str, str], list[Told]] = {}

    def ways(self, text: str, kind: str = "") -> list[Told]:
        """Return what a label may mean.

        Parameters
        ----------
        text : str
            As typed.
        kind : str
            The kind of place that stands over it, empty where none does.
        """
        key = (text, kind)
        if key not in self._kept:
            self._kept[key] = self._of_kind(text, kind) if kind else self._read(text)
        return self._kept[key]

    def _of_kind(self, text: str, kind: str) -> list[Told]:
        found: dict[str, int] = {}
        typed = _ORDINAL.sub(r"\1", plain(text)).rstrip("°.").removesuffix(" deg").strip()
        named, _, rest = typed.partition(" ")
        texts = [typed] + ([rest] if rest and known_field(named) == kind else [])
        for places in self.words.places.values():
            for value, spelled in places.get(kind, {}).items():
                costs = [c for t in texts if (c := _text_cost(t, value)) is not None]
                if costs:
                    found[spelled] = min(costs)
        least = min(found.values(), default=0)
        return [Told("", ((kind, v),), cost=c) for v, c in found.items() if c == least]

    def _read(self, text: str) -> list[Told]:
        exact = self.words.read(text)
        if exact is not None and exact.figure:
            figure = exact.field if exact.field != FIGURE else ""
            known = not figure or figure in self.words.figures
            said = Told(figure, exact.places, exact.unit, exact.basis, 0, exact.span)
            if known and (figure or exact.places or exact.span):
                return [said]
        tokens = [t for t in _TOKEN.findall(_ORDINAL.sub(r"\1", plain(text))) if t not in _SIGNS]
        tokens = [t.rstrip(".°") for t in tokens]
        if not tokens or len(tokens) > MOST_TOKENS:
            return []
        found = [told for told in self._parsed(tokens) if told.figure or told.places]
        return sorted(found, key=lambda told: told.cost)[:MOST_WAYS]

    def _parsed(self, tokens: Sequence[str]) -> list[Told]:
        """Return every way to take all words, the cheapest of those that say the same."""
        states: list[dict[_State, int]] = [{} for _ in range(len(tokens) + 1)]
        states[0] = {("", frozenset(), ""): 0}
        for at in range(len(tokens)):
            if not states[at]:
                continue
            figures = [
                (used, one) for used in (1, 2, 3) for one in self._figures(tokens[at : at + used])
                if at + used <= len(tokens)
            ]  # fmt: skip
            places = list(self._places(tokens[at:]))
            unit, _, stray = split_unit(tokens[at], self.words.units)
            for state, cost in sorted(states[at].items(), key=lambda one: one[1])[:MOST_STATES]:
                figure, said, own = state
                kinds = {kind for kind, _ in said}
                if not figure:
                    for used, (field, more) in figures:
                        if kinds <= self.words.places[field].keys():
                            _keep(states[at + used], (field, said, own), cost + more)
                for used, kind, value, more in places:
                    if kind not in kinds and (not figure or kind in self.words.places[figure]):
                        _keep(states[at + used], (figure, said | {(kind, value)}, own), cost + more)
                if unit and not stray and not own and (figure or said):
                    _keep(states[at + 1], (figure, said, unit), cost)
                if tokens[at] in _FILLERS or known_field(tokens[at]) in kinds:
                    _keep(states[at + 1], state, cost)
        return [
            Told(figure, tuple(sorted(said)), unit, "", cost)
            for (figure, said, unit), cost in states[-1].items()
        ]

    def _figures(self, run: Sequence[str]) -> list[tuple[str, int]]:
        found: dict[str, int] = {}
        for field, names in self.names.items():
            costs = [c for name in names if (c := _name_cost(run, name)) is not None]
            if costs:
                found[field] = min(costs)
        return list(found.items())

    def _places(self, tokens: Sequence[str]) -> Iterator[tuple[int, str, str, int]]:
        """Give how many words make a place, its kind, its value and the cost."""
        seen: set[tuple[int, str, str]] = set()
        for places in self.words.places.values():
            for kind, spelled in places.items():
                named = _kind_cost(tokens[0], kind)
                for value, said in spelled.items():
                    one = _text_cost(tokens[0], value)
                    two = _text_cost(" ".join(tokens[:2]), value) if len(tokens) > 1 else None
                    behind = _text_cost(tokens[1], value) if named is not None and len(tokens) > 1 else None
                    for used, cost in ((1, one), (2, two), (2, behind)):
                        if cost is None or (used, kind, said) in seen:
                            continue
                        bare = tokens[0][:1].isdigit() and used == 1
                        if used == 2 and cost == behind and named:
                            cost += named
                        seen.add((used, kind, said))
                        yield used, kind, said, cost + (LEFT_OUT if bare else 0)


def _keep(states: dict[_State, int], state: _State, cost: int) -> None:
    if cost < states.get(state, cost + 1):
        states[state] = cost


def _kind_cost(token: str, kind: str) -> int | None:
    """Return what it costs to take a word for the name of a kind of place."""
    if known_field(token) == kind:
        return SAME
    if known_field(token) or not token.isalpha():
        return None
    costs = [c for name in KNOWN_NAMES[kind] if " " not in name and (c := word_cost(token, name)) is not None]
    return min(costs, default=None)


def _text_cost(typed: str, value: str) -> int | None:
    """Return what it costs to take a text for the name of a place, word by word."""
    if typed == value:
        return SAME
    if typed[:1].isdigit() or value[:1].isdigit():
        return None
    one, two = typed.split(" "), value.split(" ")
    if len(one) != len(two):
        return None
    costs = [word_cost(a.rstrip("."), b) for a, b in zip(one, two, strict=True)]
    return None if any(c is None for c in costs) else sum(c for c in costs if c is not None)


def _name_cost(run: Sequence[str], name: Sequence[str]) -> int | None:
    """Return what it costs to take words for a name of which they say some words, in its order."""
    if len(run) == 1 and len(name) > 1 and run[0] == "".join(word[0] for word in name):
        return INITIALS
    at, cost = 0, 0
    for typed in run:
        costs = [(c, n) for n in range(at, len(name)) if (c := word_cost(typed, name[n])) is not None]
        if not costs:
            return None
        least, where = min(costs)
        cost, at = cost + least, where + 1
    return cost + LEFT_OUT * (len(name) - len(run))


def _names(field: str, words: CardHeadings) -> list[tuple[str, ...]]:
    own = words.figures[field]
    texts = [own.name, own.id.replace("-", " ").replace("_", " ")]
    texts += [name for name, to in (*words.names.items(), *words.short.items()) if to == field]
    texts += [name for name in KNOWN_NAMES.get(field, ()) if field not in PLACE]
    found = {tuple(re.findall(r"\w+", plain(text))) for text in texts}
    return [name for name in found if name]
