"""Words of benches, German and English, for the trade's own figures and places, in groups of one meaning.

A plan names its figures in its own words; a bench writes others. Words of one group may stand for each other,
so what a bench wrote is brought into the words that the plan uses. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import product

_GROUPS = """
hardness|härte|haerte|vickers|hv
wall|wand|wandung|blech|sheet
wall|wall thickness|wandstärke|wandstaerke|wanddicke|blechdicke|blechstärke|sheet thickness
thickness|dicke|stärke|staerke|schichtdicke|film|schicht
lacquer|lack|lackierung
lacquer thickness|lackdicke|lackschicht|lackschichtdicke
leak|leck|leckage|leakage|leckrate|leak rate|undichtheit|undichtigkeit
end play|axialspiel|axial play|längsspiel|laengsspiel|endspiel|end float|axial float|play|spiel
play|spiel|luft|slack
clearance|spiel|laufspiel|passung|spalt
gap|spalt|abstand
throw|hub|drehwinkel|drehweg|schaltweg|schaltwinkel|rotation|rotation angle|travel
mass|weight|masse|gewicht|wt
force|kraft
running force|laufkraft|friction|reibung|reibkraft|gleitkraft|drag
pull|pull out|pull-out|abzug|auszug|zieh
pull-out force|pull force|abzugskraft|auszugskraft|abziehkraft|ausziehkraft|ziehkraft|zugkraft
bow|biegung|durchbiegung|krümmung|kruemmung|bend
straightness|geradheit
twist|verdrehung|verwindung|verdrillung
distance|abstand|spacing|weite
roundness|ovality|rundheit|unrundheit|ovalität|out of round
bore|bohrung|innendurchmesser|innen ø|inside diameter|inner diameter|innenbohrung|id
od|outer diameter|outside diameter|außendurchmesser|aussendurchmesser|ad
diameter|durchmesser|dia|diam
length|länge|laenge
width|breite
depth|tiefe
height|höhe|hoehe
angle|winkel
torque|drehmoment
marks|mark|spuren|marken|hammerspuren
hammer|hämmer|hammerschlag
dents|dent|beulen|beule|dellen|delle
scratches|scratch|kratzer
runs|run|läufer
faults|fault|faulty|fehler|fehlerhaft|mängel|maengel|defect|defects|bad
pits|pit|poren|pore
gloss|glanz|glanzgrad
joint|joints|naht|lötnaht|lötstelle|lötung|loetstelle|verbindung
solder|lot|löt|zinn
tuning slide|stimmzug
hand slide|slide|zug|handzug
leg|schenkel
bell|becher|schallstück|schallstueck|schallbecher|trichter
rotor|zylinder|drehventil|wechsel
valve|ventil
piston|kolben
spring|feder
inner|innen|inside|inneres|innenrohr|innenzug
outer|außen|aussen|outside|äußeres|außenrohr|außenzug
upper|top|oben|oberer|obere|oberes
lower|bottom|unten|unterer|untere|unteres
middle|mid|centre|center|mitte|mittig|mittel
left|links|linker|linke|linkes|li
right|rechts|rechter|rechte|rechtes|re
long|lang|langer|lange|langes
short|kurz|kurzer|kurze|kurzes
front|vorn|vorne|vorderer
back|rear|hinten|hinterer
start|beginning|anfang|eingang|entry|entrance
end|ende|ausgang|exit
mouth|mund|mündung|muendung|öffnung
seam|naht|lötnaht|längsnaht
opposite|gegenüber|gegenueber|ggü|gegenseite|opp
rim|rand|kranz|edge|bord|kante
edge|rand|rim|kante
flare|trichter|ausladung|schweifung
throat|kehle|hals|neck
neck|hals|throat
stem|schaft|stiel|tail
belly|bauch
crook|bogen|bow
ferrule|zwinge|hülse|huelse
brace|strebe|stütze|stuetze|steg
open|offen|ohne|leer|ohne ventil
body|körper|koerper|mantel
"""
"""One group a line; a word may stand in several, where a plan that uses words of two of them is asked."""

_FILLERS = frozenset("rate wert messwert value reading gesamt amount betrag höhe size grad".split())
"""Words behind or inside a compound that add nothing to the figure: Leckrate, Härtewert."""

MOST_WAYS = 64
"""So many ways to say one heading are tried; chosen, more would be guessing."""

_JOINER = re.compile(r"^(?:s|n|en|-)?(?=.{3})")


@lru_cache(maxsize=1)
def _groups() -> tuple[dict[str, tuple[str, ...]], int]:
    """Return word -> the other words of all its groups, and how many words the longest has."""
    found: dict[str, dict[str, None]] = {}
    for line in _GROUPS.strip().splitlines():
        words = line.split("|")
        for word in words:
            found.setdefault(word, {}).update(dict.fromkeys(other for other in words if other != word))
    longest = max(len(word.split(" ")) for word in found)
    return {word: tuple(others) for word, others in found.items()}, longest


def same_words(word: str) -> tuple[str, ...]:
    """Return the words that may stand for one, itself left out; of a compound its parts put together.

    Examples
    --------
    >>> "hardness" in same_words("härte"), "rotor leak" in same_words("zylinderleck"), same_words("ofen")
    (True, True, ())
    """
    known = _groups()[0].get(word, ())
    return known or _of_compound(word)


@lru_cache(maxsize=4096)
def _of_compound(word: str) -> tuple[str, ...]:
    """Return what the two parts of a compound may be called, each in the words of its groups."""
    groups = _groups()[0]
    found: dict[str, None] = {}
    for cut in range(3, len(word) - 2):
        first, rest = word[:cut].rstrip("-"), word[cut:]
        if first not in groups:
            continue
        for second in dict.fromkeys((rest, _JOINER.sub("", rest))):
            if second in _FILLERS:
                found |= dict.fromkeys((first, *groups[first]))
            elif second in groups:
                pairs = product((first, *groups[first]), (second, *groups[second]))
                found |= dict.fromkeys(f"{one} {two}" for one, two in pairs)
    return tuple(found)[: MOST_WAYS * 4]


def other_wordings(words: Sequence[str]) -> Iterator[str]:
    """Give the ways to say a few words by those that may stand for them, as they stand left out.

    Examples
    --------
    >>> "end play" in other_wordings(["axialspiel"]), "bell mass" in other_wordings(["bell", "weight"])
    (True, True)
    """
    groups, longest = _groups()
    choices: list[tuple[str, ...]] = []
    at = 0
    while at < len(words):
        for used in range(min(longest, len(words) - at), 0, -1):
            run = " ".join(words[at : at + used])
            others = groups.get(run, ()) if used > 1 else same_words(run)
            if others or used == 1:
                kept = () if run in _FILLERS and not others else (run,)
                choices.append((*kept, *others) or ("",))
                at += used
                break
    own = " ".join(words)
    given = 0
    for chosen in product(*choices):
        said = " ".join(part for part in chosen if part)
        if said and said != own:
            yield said
            given += 1
            if given >= MOST_WAYS * 4:
                return


def place_meant(kind: str, typed: str, places: Mapping[str, Mapping[str, str]]) -> str:
    """Return the one place of the plan that a bench says in another word, else what was typed.

    Examples
    --------
    >>> place_meant("station", "oben", {"station": {"top": "top"}}), place_meant("valve", "offen", {})
    ('top', 'open')
    """
    spelled = places.get(kind, {})
    if not typed.isalpha() or typed.casefold() in spelled:
        return typed
    words = same_words(typed.casefold())
    meant = {
        spelled.get(word, word) for word in words if word in spelled or (kind, word) == ("valve", "open")
    }
    return next(iter(meant)) if len(meant) == 1 else typed
