"""Typed text into numbers, without ever guessing silently."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from qc.ingest.cells.names import FACTORS, WEIGHED, plain, split_unit

_NUMBER = re.compile(r"^(?P<figure>[+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*(?P<unit>[^\d.,].*)?$")
_DASH_BEFORE = re.compile(r"^[\u2212\u2010\u2011\u2013\u2014]\s?(?=[\d.,])")  # a printed minus sign
_GROUPED = re.compile(r"^[+-]?[1-9]\d{0,2}(?:,\d{3})$")
_POINTED = re.compile(r"^[+-]?[1-9]\d{0,2}\.\d{3}$")
_BETWEEN = " '\u2019\u00a0\u2009\u202f"  # between thousands; common practice, no source
_PLAIN = re.compile(r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?$")
COMMA_NOTE = "comma read as the decimal point"  # kept with the row, since it was decided and not typed


@dataclass(frozen=True, slots=True)
class Number:
    """What a text says.

    Attributes
    ----------
    value : float or None
        The figure, None where the text is no number or can be read two ways.
    note : str
        What had to be decided to read it, kept with the row.
    """

    value: float | None
    note: str = ""


def read_number(
    text: str, unit: str = "", *, nominal: float | None = None, comma_decimal: bool = False
) -> Number:
    """Read a typed figure.

    Parameters
    ----------
    text : str
        As typed: decimal point or comma, a sign, a unit behind it. ``nan``, ``inf`` and the like are no
        numbers.
    unit : str
        Unit wanted; a unit typed behind the figure is converted, or refused where it cannot be.
    nominal : float, optional
        What the figure should be near; it decides what a comma before three digits means. [unit]
    comma_decimal : bool
        True where the sheet as a whole uses decimal commas.

    Returns
    -------
    Number
        Without a value where the text cannot be read one way only.

    Examples
    --------
    >>> read_number("14,05").value, read_number("-0.5 mm", "mm").value, read_number("nan").value
    (14.05, -0.5, None)
    >>> read_number("14,052", nominal=14.05)
    Number(value=14.052, note='comma read as the decimal point')
    >>> read_number("14,052")
    Number(value=None, note='')
    >>> read_number("2.179", nominal=2180, comma_decimal=True)
    Number(value=2179.0, note='point read as parting thousands')
    """
    tidy = _DASH_BEFORE.sub("-", text.strip().replace("\u00a0", " "))
    match = _NUMBER.match(tidy)
    if match is None:
        return Number(None)
    factor = 1.0
    if match["unit"]:
        own = {plain(unit): unit} if unit else None  # a unit that the plan alone knows, HV or Nm
        written, _, stray = split_unit(match["unit"], own)
        if stray or not unit:
            return Number(None)
        factor = 1.0 if written == unit else FACTORS.get((written, unit), math.nan)
        if math.isnan(factor):
            return Number(None)
    figure, note = _decimal(match["figure"], nominal, comma_decimal)
    if figure is None or not _PLAIN.match(figure):
        return Number(None)
    value = float(figure) * factor
    if not math.isfinite(value):
        return Number(None)
    return Number(value if factor == 1.0 else float(f"{value:.12g}"), note)


def without_groups(text: str, decimal: str) -> str:
    """Return a figure without the marks between its thousands, where the decimal sign is known.

    Parameters
    ----------
    text : str
        The figure as typed.
    decimal : str
        ``comma`` or ``point``; empty where it is not known, and the text comes back as it is.

    Examples
    --------
    >>> without_groups("2 148,5", "comma"), without_groups("1'148", "point"), without_groups("1 148", "")
    ('2148,5', '1148', '1 148')
    """
    marks = {"comma": ".", "point": ","}.get(decimal)
    if marks is None or not re.match(rf"^\s*[+-]?\d{{1,3}}(?:[{marks}{_BETWEEN}]\d{{3}})+(?!\d)", text):
        return text
    return re.sub(rf"(?<=\d)[{marks}{_BETWEEN}](?=\d{{3}}(?!\d))", "", text)


def read_decimal(text: str) -> float | None:
    """Read a figure with a point or a comma as decimal sign and no unit; None where it is none.

    Both signs in one figure would part thousands, which no bench figure has: it is more likely two figures.

    Examples
    --------
    >>> read_decimal("14,052"), read_decimal("+6.0"), read_decimal("1,234.5"), read_decimal("nan")
    (14.052, 6.0, None, None)
    """
    return None if "," in text and "." in text else read_number(text, comma_decimal=True).value


def weight_of(text: str, written: str, wanted: str) -> float | None:
    """Return the weight at standard gravity of a mass where a force is wanted; None where there is none.

    Parameters
    ----------
    text : str
        As typed, with or without its unit.
    written : str
        Unit that its heading names.
    wanted : str
        Unit of the figure.

    Examples
    --------
    >>> weight_of("140 g", "N", "N"), weight_of("140", "g", "N"), weight_of("140", "N", "N")
    (1.37293, 1.37293, None)
    """
    for mass, force in WEIGHED:
        if force == wanted and (written == mass or plain(text).endswith(mass)):
            value = read_number(text, mass, comma_decimal=True).value
            if value is not None:
                return float(f"{value * WEIGHED[mass, force]:.6g}")
    return None


def read_whole(text: str) -> int | None:
    """Read a whole number such as a partial or a spot; None where the text is none.

    Examples
    --------
    >>> read_whole("5"), read_whole("5.0"), read_whole("5.5"), read_whole("1_0")
    (5, 5, None, None)
    """
    number = read_number(text)
    if number.value is None or number.value != int(number.value) or abs(number.value) > 1e9:
        return None
    return int(number.value)


def convert(value: float, written: str, wanted: str) -> float:
    """Turn a figure from the unit its heading names into the plan's unit.

    Raises
    ------
    KeyError
        The two units do not measure the same thing; adaptors refuse such a heading before.

    Examples
    --------
    >>> convert(0.55, "in", "mm"), convert(152.0, "um", "mm")
    (13.97, 0.152)
    """
    return value if written == wanted else float(f"{value * FACTORS[written, wanted]:.12g}")


def _decimal(figure: str, nominal: float | None, comma_decimal: bool) -> tuple[str | None, str]:
    """Write the figure with a decimal point only, or None where it can be read two ways."""
    commas, points = figure.count(","), figure.count(".")
    if not commas:
        grouped = comma_decimal and nominal and _POINTED.match(figure)
        if not grouped or abs(float(figure)) * 30 > abs(nominal or 0.0):
            return figure, ""
        return figure.replace(".", ""), "point read as parting thousands"
    if points:  # both stand in it: the last one is the decimal sign, the other parts thousands
        last_comma = figure.rfind(",") > figure.rfind(".")
        if (commas if last_comma else points) != 1:
            return None, ""
        bare = figure.replace(".", "").replace(",", ".") if last_comma else figure.replace(",", "")
        return bare, COMMA_NOTE if last_comma else ""
    if commas > 1:
        return None, ""
    pointed = figure.replace(",", ".")
    if comma_decimal or not _GROUPED.match(figure):
        return pointed, ""
    if not nominal:
        return None, ""
    small, large = float(pointed), float(figure.replace(",", ""))
    if small * nominal <= 0:
        return None, ""
    near = abs(math.log(small / nominal)) < abs(math.log(large / nominal))
    return (pointed, COMMA_NOTE) if near else (figure.replace(",", ""), "comma read as parting thousands")
