"""Translates what a bench writes over a column into our own names, once, at the door."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

KNOWN_NAMES: dict[str, tuple[str, ...]] = {
    "card": ("card", "card id", "card title", "karte"),
    "day": (
        "date", "day", "measured", "measured on", "datum", "tag", "messdatum", "gemessen am", "dat", "when",
        "measured at", "date measured", "prüfdatum", "messtag", "date time", "date/time", "timestamp",
        "time stamp", "zeitstempel", "datum/zeit", "datum/uhrzeit", "dat/zeit",
    ),
    "time": ("time", "hour of day", "uhrzeit", "zeit", "uhr", "time of day", "clock"),
    "serial": (
        "serial", "serials", "serial no", "serial number", "piece", "instrument", "tube", "tube no",
        "ser no", "ser. no", "ser", "s/n", "serial nr", "piece no", "instrument no", "seriennummer",
        "seriennr", "serien-nr", "serien-nummer", "serien nr", "instrumentennummer", "stück", "rohr",
        "rohr-nr", "rohr nr", "rohrnummer", "ser nr", "ser-nr", "ser -nr", "sn", "serial #",
        "serien no", "instr no", "instr nr",
        "instrument nr", "stück nr", "stück-nr", "stücknummer", "werkstück",
    ),
    "model": ("model", "type", "mod", "modell", "typ", "modell nr", "bauart", "ausführung", "ausf"),
    "person": (
        "person", "tester", "technician", "operator", "player", "by", "who", "initials", "measured by",
        "pers", "prüfer", "prüferin", "pruefer", "messer", "init", "gez", "signed", "signature",
        "unterschrift", "kürzel", "geprüft von", "gemessen von", "geprüft", "bearbeiter",
        "mitarbeiter", "tested by", "checked by", "read by", "inspector", "op", "oper", "tech",
    ),
    "gauge": (
        "gauge", "tuner", "probe", "gauge id", "gauge no", "messgerät", "messmittel", "prüfmittel",
        "stimmgerät", "gerät", "measuring device", "measured with", "gemessen mit", "gage", "mess-gerät",
        "messger",
    ),
    "tool": (
        "tool", "tool no", "die", "die no", "mandrel", "mandrel no", "booth", "nozzle", "jig", "werkzeug",
        "ziehring", "ziehstein", "dorn", "düse",
    ),
    "tool_count": ("draws", "draw count", "tool count", "draws since fitted"),
    "batch": (
        "batch", "lot", "batch no", "lot no", "charge", "los", "chargennummer", "los nr", "charge nr",
        "chargen-nr", "charge no",
    ),
    "air_c": (
        "room c", "room", "room temperature", "air c", "air", "temperature", "room temp", "raum",
        "raumtemperatur", "temperatur", "temp", "raumtemp", "lufttemperatur", "air temp", "air temperature",
        "temp c",
    ),
    "a4_hz": ("a4 hz", "a4", "reference a4", "a4 reference"),
    "main_out_mm": ("main slide out mm", "main slide out", "main out mm", "tuning slide out mm"),
    "wrap_out_mm": ("wrap slide out mm", "wrap out mm", "wrap slide out"),
    "method": ("method", "slide placed"),
    "note": (
        "note", "notes", "remark", "remarks", "comment", "comments", "bemerkung", "bemerkungen", "notiz",
        "anmerkung", "bem", "anm", "rem", "remk", "comm", "obs", "observation", "observations", "hinweis",
        "kommentar", "notizen", "anmerkungen", "bemerk", "memo",
    ),
    "unit": ("unit", "units", "einheit", "einh"),
    "left_blank": ("left blank",),
    "typed_as": ("typed at the bench",),
    "asked": ("asked of this row",),
    "repeat": ("repeat", "rep", "reading no", "sitting", "wiederholung", "wdh", "wiederh"),
    "leg": ("leg", "schenkel"),
    "station": ("station", "where", "st", "stn", "messstelle", "stelle"),
    "direction": ("direction", "angle", "dir", "richtung", "winkel", "richt"),
    "surface": ("surface",),
    "valve": ("valve", "valves", "valve state", "ventil", "vent", "ventile"),
    "position": ("position", "slide position", "pos", "zug", "zuglage"),
    "partial": ("partial", "harmonic", "naturton", "teilton", "teilton nr"),
    "area": ("area", "bereich"),
    "spot": ("spot", "spot no", "sp", "punkt", "pkt", "messfleck"),
    "inner_od": ("inner od", "inner tube od", "inner"),
    "outer_bore": ("outer bore", "outer id", "outer tube bore", "outer"),
    "clearance": ("clearance", "clearance read"),
    "cents": ("cents", "cent", "deviation cents"),
    "hz": ("hz", "frequency", "frequency hz"),
    "thickness": ("thickness", "film thickness", "schichtdicke", "lackdicke", "lack"),
    "base": ("base", "bare", "base reading"),
    "r1": ("r1", "reading 1"),
    "r2": ("r2", "reading 2"),
    "r3": ("r3", "reading 3"),
    "part": ("part", "part serial", "part no"),
    "role": ("role", "part role"),
    "verdict": ("verdict", "result", "play test"),
    "shipped": ("shipped", "shipped on", "versandt", "versendet", "ausgeliefert"),
    "returned": ("returned", "returned on", "zurückgekommen", "zurück am"),
    "cause": ("cause", "cause code", "reason", "ursache", "grund"),
    "stage": ("stage", "where found"),
    "hours": ("hours", "rework hours", "time spent", "stunden"),
    "deviation": ("deviation", "reading less master", "off master", "abweichung"),
    "master": ("master", "checked on", "on master"),
    "zeroed": ("zeroed", "zero set", "re-zeroed", "genullt", "nullgestellt"),
    "tool_class": ("class", "tool class"),
    "fault_type": ("fault type", "type of fault", "kind of fault", "defect type", "kind"),
}  # fmt: skip
"""Our name -> what benches call it, in lower case; English and German, and their usual abbreviations."""

NEWTON_METRE = "Nm"

UNITS: dict[str, str] = {
    "mm": "mm", "um": "um", "µm": "um", "μm": "um", "micron": "um", "microns": "um", "in": "in", "inch": "in",
    "inches": "in", '"': "in", "c": "C", "°c": "C", "cent": "cent", "cents": "cent", "ct": "cent", "hz": "Hz",
    "g": "g", "mg": "mg", "n": "N", "h": "h", "hr": "h", "hrs": "h", "hours": "h", "min": "min",
    "cm3/min": "cm3/min", "cm³/min": "cm3/min", "ccm/min": "cm3/min", "ml/min": "cm3/min", "%": "%",
    "count": "count", "fault": "fault", "mbar": "mbar", "°": "deg", "deg": "deg", "degree": "deg",
    "degrees": "deg", "grad": "deg", "newton": "N", "newtons": "N", "mn": "mN", "cn": "cN", "gf": "gf",
    "nm": "nm", "nanometer": "nm", "newtonmeter": "Nm",
    "ncm": "Ncm", "n cm": "Ncm", "nmm": "Nmm", "n mm": "Nmm", "mnm": "mNm",
    "pond": "gf", "kgf": "kgf", "kp": "kgf", "kg": "kg", "gram": "g", "grams": "g", "gramm": "g",
    "cm": "cm", "1/100 mm": "0.01 mm", "0.01 mm": "0.01 mm", "0 01 mm": "0.01 mm", "1/100mm": "0.01 mm",
    "hundredths": "0.01 mm", "hundredth": "0.01 mm", "hundertstel": "0.01 mm", "1/100": "0.01 mm",
    "1/1000 mm": "um", "0.001 mm": "um", "0 001 mm": "um", "1/1000mm": "um", "1/1000": "um",
    "tausendstel": "um", "mikrometer": "um", "my": "um",
    "thou": "thou", "hundredths mm": "0.01 mm", "hundertstel mm": "0.01 mm", "percent": "%", "prozent": "%",
    "cc/min": "cm3/min", "l/min": "l/min", "stk": "count", "pcs": "count",
}  # fmt: skip
"""What benches write for a unit, in lower case -> the unit."""

FACTORS: dict[tuple[str, str], float] = {
    ("um", "mm"): 1e-3,
    ("mm", "um"): 1e3,
    ("in", "mm"): 25.4,  # exact by definition of the inch
    ("in", "um"): 25400.0,
    ("mg", "g"): 1e-3,
    ("g", "mg"): 1e3,
    ("min", "h"): 1 / 60,
    ("cm", "mm"): 10.0,
    ("0.01 mm", "mm"): 1e-2,
    ("0.01 mm", "um"): 10.0,
    ("thou", "mm"): 0.0254,  # exact: a thousandth of an inch
    ("thou", "um"): 25.4,
    ("kg", "g"): 1e3,
    ("mN", "N"): 1e-3,
    ("cN", "N"): 1e-2,
    ("N", "cN"): 100.0,
    ("mN", "cN"): 0.1,
    ("N", "mN"): 1e3,
    ("cN", "mN"): 10.0,
    ("gf", "cN"): 0.980665,
    ("nm", "um"): 1e-3,
    ("Ncm", "mNm"): 10.0,
    ("Nmm", "mNm"): 1.0,
    ("Ncm", "Nm"): 0.01,
    ("Nmm", "Nm"): 1e-3,
    ("mNm", "Nm"): 1e-3,
    ("Nm", "Ncm"): 100.0,
    ("Nm", "mNm"): 1e3,
    ("Nm", "Nmm"): 1e3,
    ("Ncm", "Nmm"): 10.0,
    ("mNm", "Nmm"): 1.0,
    ("Nmm", "Ncm"): 0.1,
    ("mNm", "Ncm"): 0.1,
    ("gf", "N"): 9.80665e-3,  # the weight of a mass at standard gravity, exact: 3rd CGPM (1901)
    ("kgf", "N"): 9.80665,
    ("l/min", "cm3/min"): 1e3,
}
"""(written, wanted) -> factor, where a heading says outright in which unit its figures are."""

WEIGHED: dict[tuple[str, str], float] = {("g", "N"): 9.80665e-3, ("kg", "N"): 9.80665}
"""(mass, force) -> its weight at standard gravity, 9.80665 m/s2 exactly (3rd CGPM, 1901).

A bench that writes grams for a force most likely read a balance, but may have hung a mass on; so it is asked.
"""

BASIS = {
    "on diameter": "diameter",
    "diametral": "diameter",
    "diametrical": "diameter",
    "per side": "side",
    "each side": "side",
    "radial": "side",
    "im durchmesser": "diameter",
    "am durchmesser": "diameter",
    "je seite": "side",
    "pro seite": "side",
}
"""How a clearance is meant. Nothing else is taken for an answer."""

_BRACKETS = re.compile(r"^(?P<name>.*?)\s*[\[(](?P<unit>[^\])]*)[\])]\s*$")


@dataclass(frozen=True, slots=True)
class Heading:
    """A column heading or a label of the head, taken apart.

    Attributes
    ----------
    name : str
        What is left without the unit, in lower case with single spaces.
    field : str
        Our name for it, empty where the table has none.
    unit : str
        The unit it names, empty where it names none.
    basis : str
        ``diameter`` or ``side`` where it says how a clearance is meant.
    stray_unit : str
        Text in brackets that is no unit we know.
    """

    name: str
    field: str
    unit: str = ""
    basis: str = ""
    stray_unit: str = ""


@lru_cache(maxsize=4096)
def plain(text: str) -> str:
    """Return a name in lower case with single spaces, without underscores or a closing colon.

    Examples
    --------
    >>> plain("  Main_slide  out mm: ")
    'main slide out mm'
    """
    return " ".join(text.replace("_", " ").casefold().split()).rstrip(":. ")


@lru_cache(maxsize=4096)
def known_field(text: str) -> str:
    """Return our general name for a heading, whatever the plan; empty where there is none.

    Examples
    --------
    >>> known_field("Ser. No."), known_field("Wall [mm]")
    ('serial', '')
    """
    return heading(text).field


def heading(
    text: str, extra: dict[str, str] | None = None, units: Mapping[str, str] | None = None
) -> Heading:
    """Take a heading apart: ``Wall [mm]``, ``Leak (cm3/min)`` and ``Length mm`` carry their unit.

    Parameters
    ----------
    text : str
        The heading as typed.
    extra : dict, optional
        Names of a plan's characteristics (plain) -> id; they win over the general names.
    units : mapping, optional
        Units that the plan alone knows, in lower case -> as the plan writes them.

    Returns
    -------
    Heading
        With an empty `field` where the name is not known.

    Examples
    --------
    >>> heading("Clearance [um per side]")
    Heading(name='clearance', field='clearance', unit='um', basis='side', stray_unit='')
    >>> heading("Room C").field, heading("Cents").unit
    ('air_c', '')
    """
    # asked for each cell of a sheet, over and over: what hangs on the text alone is kept
    if not extra and not units:
        return _general(text)
    own = extra or {}

    def field_of(name: str) -> str:
        return own.get(name) or _NAMES.get(name, "")

    whole, spaced, bracket, cuts = _pieces(text)
    for name in (whole, spaced):  # Ser.No.
        if field := field_of(name):
            return Heading(name, field)
    if bracket is not None:
        unit, basis, stray = split_unit(bracket[1], units)
        return Heading(bracket[0], field_of(bracket[0]), unit, basis, stray)
    for name, last in cuts:
        if field := field_of(name):
            unit, basis, stray = split_unit(last, units)
            if not stray and (unit or basis):
                return Heading(name, field, unit, basis)
    return Heading(whole, "")


@lru_cache(maxsize=4096)
def _general(text: str) -> Heading:
    """Take a heading apart by the general names alone."""
    return heading(text, {"": ""})


@lru_cache(maxsize=4096)
def _pieces(text: str) -> tuple[str, str, tuple[str, str] | None, tuple[tuple[str, str], ...]]:
    """Return a heading in plain form, the same without full stops, its name and brackets, its cuts in two."""
    whole = plain(text)
    spaced = " ".join(whole.replace(".", " ").split())
    bracket = _BRACKETS.match(text.strip())
    words = whole.split(" ")
    cuts = tuple((" ".join(words[:cut]), " ".join(words[cut:])) for cut in range(len(words) - 1, 0, -1))
    return whole, spaced, (plain(bracket["name"]), bracket["unit"]) if bracket else None, cuts


def split_unit(text: str, units: Mapping[str, str] | None = None) -> tuple[str, str, str]:
    """Take a unit apart into the unit, how a clearance is meant, and what is neither.

    Examples
    --------
    >>> split_unit("um on diameter"), split_unit("µm"), split_unit("furlong")
    (('um', 'diameter', ''), ('um', '', ''), ('', '', 'furlong'))
    >>> split_unit("Nm"), split_unit("nm"), split_unit("nm", {"nm": "Nm"})
    (('Nm', '', ''), ('nm', '', ''), ('Nm', '', ''))
    """
    rest, basis = _without_basis(text)
    if not rest:
        return "", basis, ""
    unit = UNITS.get(rest, "") or (units or {}).get(rest, "")
    if rest == "nm" and ("N" in text or (units or {}).get(rest) == NEWTON_METRE):
        unit = NEWTON_METRE  # a capital tells it from the nanometre, and where it is missing the plan does
    return unit, basis, "" if unit else rest


@lru_cache(maxsize=4096)
def _without_basis(text: str) -> tuple[str, str]:
    """Return what stands for a unit in plain form, and how a clearance is meant."""
    rest = plain(text).replace(",", " ").strip()
    for words, meaning in BASIS.items():
        if rest.endswith(words):
            return rest[: -len(words)].strip(), meaning
    return rest, ""


_NAMES = {name: field for field, names in KNOWN_NAMES.items() for name in names}
