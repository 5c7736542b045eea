"""A heading word by word: a figure, its places and its unit, in any order and with signs between them."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from qc.ingest.cells import known_field, plain, split_unit
from qc.ingest.shapes.bench_words import other_wordings, same_words
from qc.plan import PLACE

Spelled = Mapping[str, Mapping[str, str]]
"""Kind of place -> its values in plain form, in the order of the plan -> as the plan spells them."""

_SIGNS = r"ø⌀∅@&|/;,=:()\[\]…–—-"
_TOKEN = re.compile(rf"\.{{2,}}|[{_SIGNS}]|\d+\.\d+|[^\s.{_SIGNS}]+|\.")
_BETWEEN = frozenset("/ ; , | & and und".split())
_TO = frozenset("- – — … .. ... to bis".split())
_FILLERS = frozenset("at in of on the am an bei der die das @ = : ( ) [ ] . deg".split())
_DIAMETER = frozenset("ø ⌀ ∅ dia diam durchmesser diameter".split())
"""Signs and short words for a diameter, which a plan may leave out; common practice, no source."""

_EMPTY_WORDS = frozenset("thickness dicke stärke reading readings value values measured wert werte".split())
"""Words that may stand behind the name of a figure and add nothing to it: wall thickness."""

_FIGURE = re.compile(r"^[+-]?\d[\d.,]*\s*(?P<unit>[^\d\s].{0,12})$")
LONGEST = 80
MOST_TOKENS = 24
"""A text of more is a remark and no heading; both chosen."""


@dataclass(frozen=True, slots=True)
class Phrase:
    """A heading taken apart: the field of its figure, its places, and those of which it names several."""

    figure: str
    places: tuple[tuple[str, str], ...]
    span: tuple[tuple[str, str], ...]
    unit: str
    basis: str


@dataclass(slots=True)
class _Item:
    """One value met, with the kinds of place it may be of and what stood before it."""

    values: dict[str, str]
    before: str = ""
    named: bool = False


def read_phrase(
    text: str,
    figure_of: Callable[[str], str | None],
    places_of: Mapping[str, Spelled],
    units: Mapping[str, str],
    given: Collection[str] = (),
) -> Phrase | None:
    """Read a heading as one figure with places, or as places alone; None where a word is left over.

    Parameters
    ----------
    text : str
        The heading as typed.
    figure_of : callable
        Gives the field of a figure by its name in plain form, None where it is none.
    places_of : mapping
        Field of a figure -> its places.
    units : mapping
        Units that the plan alone knows.
    given : collection of str
        Kinds of place that the sheet says elsewhere.

    Returns
    -------
    Phrase or None
        None also where a value may be a place of two kinds.
    """
    tokens = _TOKEN.findall(plain(text)) if len(text) <= LONGEST else []
    if not tokens or len(tokens) > MOST_TOKENS or not any(sign.isalpha() for sign in text):
        return None
    typed = _FIGURE.match(plain(text))
    if typed is not None and split_unit(typed["unit"], units)[2] == "":
        return None  # what was read, with its unit
    for rest, unit, basis in _units_out(tokens, units):
        found = _with_figure(rest, figure_of, places_of, given)
        if found is not None:
            figure, places, span = found
            return Phrase(figure, places, span, unit, basis)
    return None


def _units_out(tokens: list[str], units: Mapping[str, str]) -> Iterator[tuple[list[str], str, str]]:
    """Give the words without what may be their unit, and the unit; first as they stand."""
    yield tokens, "", ""
    for at, token in enumerate(tokens):
        if not at or token in _FILLERS or token in _BETWEEN:
            continue
        unit, basis, stray = split_unit(token, units)
        if unit and not stray:
            lead = at - 1 if tokens[at - 1] in {"in", "/", ",", "=", ":"} else at
            yield [*tokens[:lead], *tokens[at + 1 :]], unit, basis


def _with_figure(
    tokens: list[str],
    figure_of: Callable[[str], str | None],
    places_of: Mapping[str, Spelled],
    given: Collection[str],
) -> tuple[str, tuple[tuple[str, str], ...], tuple[tuple[str, str], ...]] | None:
    """Find the figure among the words, the longest name first, so that all others are its places."""
    for length in range(min(len(tokens), 8), -1, -1):
        for start in range(len(tokens) - length + 1 if length else 1):
            run = tokens[start : start + length]
            field = _named(run, figure_of) if run else ""
            if field is None:
                continue
            rest = [*tokens[:start], "|", *tokens[start + length :]] if run else tokens
            known = [places_of[field]] if field in places_of else list(places_of.values())
            read = _read_places(rest, known, given, bool(field))
            if read is not None and (field or read[0] or read[1]):
                return field, *read
    short = _read_places(tokens, list(places_of.values()), given, True)
    # U-mouth: one short word for a place is none, unless another place stands beside it
    return ("", *short) if short is not None and len(short[0]) > 1 and not short[1] else None


def _named(run: list[str], figure_of: Callable[[str], str | None]) -> str | None:
    """Return the field that words name, with a sign of diameter for its word or for nothing."""
    signs = _FILLERS | _BETWEEN | _TO
    if run[0] in signs or run[-1] in signs:
        return None
    words = [word for word in run if word not in {".", "-"}]
    inside = [word for word in words if word not in _DIAMETER]
    tried = [words] if inside else []  # a sign alone may be that of a mean
    if inside and len(inside) < len(words):
        tried += [[*inside, "diameter"], ["diameter", *inside], inside]
    if _EMPTY_WORDS & {words[-1]} and figure_of(words[-1]) is None:
        tried.append(words[:-1])
    exact = next((f for name in tried if name and (f := figure_of(" ".join(name))) is not None), None)
    return exact if exact is not None else figure_by_other_words(tried, figure_of)


def figure_by_other_words(
    names: Sequence[Sequence[str]], figure_of: Callable[[str], str | None]
) -> str | None:
    """Return the one figure that words of a bench name in other words than the plan's, None where several."""
    fields = {f for name in names for said in other_wordings(name) if (f := figure_of(said)) is not None}
    return next(iter(fields)) if len(fields) == 1 else None


def _read_places(
    tokens: list[str], known: list[Spelled], given: Collection[str], figure: bool
) -> tuple[tuple[tuple[str, str], ...], tuple[tuple[str, str], ...]] | None:
    """Read all words as places; None where one is none, or where it may be of two kinds."""
    items = _items(tokens, known, given, figure)
    if items is None:
        return None
    chains: list[list[_Item]] = []
    for item in items:
        last = chains[-1] if chains else None
        same = last is not None and not (item.named and last[-1].named) and item.before != "|"
        shared = set.intersection(*(set(i.values) for i in (*last, item))) if same and last else set()
        if last and shared and item.values.keys() & shared and _differ(last, item):
            last.append(item)
        else:
            chains.append([item])
    single: dict[str, str] = {}
    span: tuple[tuple[str, str], ...] = ()
    open_kinds = [set.intersection(*(set(i.values) for i in chain)) for chain in chains]
    for number, chain in enumerate(chains):
        taken = {next(iter(k)) for n, k in enumerate(open_kinds) if n != number and len(k) == 1}
        kinds = open_kinds[number] - taken if len(open_kinds[number]) > 1 else open_kinds[number]
        if len(kinds) != 1 or (kind := next(iter(kinds))) in single or (span and span[0][0] == kind):
            return None
        if len(chain) == 1:
            single[kind] = chain[0].values[kind]
            continue
        values = _chained(chain, kind, known)
        if not values or span:
            return None
        span = tuple((kind, value) for value in values)
    if span and span[0][0] in single:
        return None
    return tuple(single.items()), span


def _differ(chain: list[_Item], item: _Item) -> bool:
    return all(one.values != item.values for one in chain)


def _chained(chain: list[_Item], kind: str, known: list[Spelled]) -> list[str]:
    """Return the values that a chain names: all of a range, or each of a list."""
    values = [item.values[kind] for item in chain]
    if len(chain) != 2 or chain[1].before not in _TO:
        return values if len(set(values)) == len(values) else []
    for places in known:
        order = list(dict.fromkeys(places.get(kind, {}).values()))
        if values[0] in order and values[1] in order:
            first, last = order.index(values[0]), order.index(values[1])
            return order[first : last + 1] if first < last else []
    return []


def _items(
    tokens: list[str], known: list[Spelled], given: Collection[str], figure: bool
) -> list[_Item] | None:
    found: list[_Item] = []
    at, before, kind = 0, "", ""
    while at < len(tokens):
        token = tokens[at]
        taken = _value(tokens, at, known, given, kind, figure)
        if taken is not None:
            used, values = taken
            found.append(_Item(values, before, bool(kind)))
            at, before, kind = at + used, "", ""
            continue
        named = known_field(token.removesuffix("s"))
        if named in PLACE and any(named in places for places in known):
            behind = found and not found[-1].named and named in found[-1].values and at and before == ""
            follows = _value(tokens, at + 1 + _skip(tokens, at + 1), known, given, named, figure)
            if follows is None and behind:  # upper leg
                found[-1].values, found[-1].named = {named: found[-1].values[named]}, True
            elif follows is None or kind:
                return None
            else:
                kind = named
            at += 1
            continue
        if token in _TO or token in _BETWEEN:
            before = token if before != "|" else before
        elif token not in _FILLERS:
            return None
        at += 1
    return None if kind or not _chains_end(tokens) else found


def _chains_end(tokens: list[str]) -> bool:
    """Tell whether nothing is left open at the end: ``edge 0/``."""
    return not tokens or tokens[-1] not in _TO | (_BETWEEN - {"|"})


def _skip(tokens: list[str], at: int) -> int:
    skipped = 0
    while at + skipped < len(tokens) and tokens[at + skipped] in _FILLERS:
        skipped += 1
    return skipped


def _value(
    tokens: list[str], at: int, known: list[Spelled], given: Collection[str], kind: str, figure: bool
) -> tuple[int, dict[str, str]] | None:
    """Return how many words make the next place, and what it is by the kinds it may be of."""
    for used in range(min(4, len(tokens) - at), 0, -1):
        for text in {" ".join(tokens[at : at + used]), "".join(tokens[at : at + used])}:
            values = {
                name: spelled[one]
                for places in known
                for name, spelled in places.items()
                for one in (text, text.rstrip("°"))
                if one in spelled and name not in given and kind in {"", name}
            }
            if values:
                return used, values
    token = tokens[at] if at < len(tokens) else ""
    told = {
        (name, s[other])
        for other in same_words(token)
        for p in known
        for name, s in p.items()
        if other in s and kind in {"", name} and name not in given
    }
    if told and len({name for name, _ in told}) == len(told):
        return 1, dict(told)
    if not figure or not token.isalpha():
        return None
    begun = {
        (name, spelled[value])
        for places in known
        for name, spelled in places.items()
        for value in spelled
        if name not in given and kind in {"", name} and value.startswith(token)
    }
    return (1, dict(begun)) if len(begun) == 1 else None


_CUT_SHORT = re.compile(r"\b([^\W\d_]{3,})\.(?=\s|$)\s*")
"""A word that a point shortens: ``vol.``."""


def spelled_out(text: str, names: Iterable[str]) -> str:
    """Return a heading with the words that a point shortens written out, empty where one may be several.

    Examples
    --------
    >>> spelled_out("Fill vol.", ["Fill volume", "Venturi"]), spelled_out("Torq. F", ["Torque", "Torquing"])
    ('Fill volume', '')
    """
    known = {word for name in names for word in plain(name).split(" ")}
    whole = text
    for found in _CUT_SHORT.finditer(text):
        start = found[1].casefold()
        fits = [word for word in known if word.startswith(start) and word != start]
        if len(fits) != 1:
            return ""
        whole = whole.replace(found[0], f"{fits[0]} ", 1)
    return whole.strip() if whole != text else ""
