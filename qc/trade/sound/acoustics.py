"""Pitch, cents, harmonics, and how air and brass temperature move them.

Units: frequencies in hertz, temperatures in degrees Celsius, deviations in cents (+ = sharp). Notes are
numbered with A4 = 69, one number a semitone.
"""

from __future__ import annotations

import math

from qc.trade.errors import TradeError

CENTS_PER_NEPER = 1200.0 / math.log(2.0)
"""Cents in one unit of natural logarithm of frequency (1731.234), from the definition of the cent."""

ISO_16_A4_HZ = 440.0
"""Standard tuning frequency, ISO 16:1975."""

FURTHEST_NOTE = 1_000
"""Chosen: eight times the notes of a keyboard; beyond a few thousand no frequency can be written."""

SOUND_20C_M_PER_S = 343.2
"""Speed of sound in dry air at 20 C (both dry forms agree on it)."""

BRASS_EXPANSION_PER_K = 1.99e-5
"""Linear expansion of 70/30 brass, wire data sheet."""

KELVIN_AT_0C = 273.15

# O. Cramer, "The variation of the specific heat ratio and the speed of sound in air with temperature,
# pressure, humidity, and CO2 concentration", J. Acoust. Soc. Am. 93(5), 1993, 2510-2516, as reprinted by a
# university acoustics group.
CRAMER_1993 = (
    331.5024, 0.603055, -0.000528, 51.471935, 0.1495874, -0.000782, -1.82e-7, 3.73e-8,
    -2.93e-10, -85.20931, -0.228525, 5.91e-5, -2.835149, -2.15e-13, 29.179762, 0.000486,
)  # fmt: skip

_NAMES = ("C", "C#", "D", "E-flat", "E", "F", "F#", "G", "A-flat", "A", "B-flat", "B")


def tempered_frequency(note: float, a4_hz: float = ISO_16_A4_HZ) -> float:
    """Give the frequency of an equal-tempered note. [Hz].

    Parameters
    ----------
    note : float
        Note number, A4 = 69. [semitone]
    a4_hz : float
        Frequency of A4 used by the tuner. [Hz]

    Raises
    ------
    TradeError
        `a4_hz` is no pitch above 0, or the note is none.

    References
    ----------
    .. [1] ISO 16:1975 for A4 = 440 Hz; the twelve-step octave by definition.

    Examples
    --------
    >>> round(tempered_frequency(34), 4)
    58.2705
    """
    if not 0 < a4_hz < math.inf:
        raise TradeError(f"A4 of {a4_hz} Hz is not a pitch", "Give the tuner's A4, usually 440 to 443 Hz")
    if not abs(note) <= FURTHEST_NOTE:
        raise TradeError(f"{note:g} is no note", "Count semitones from A4 = 69, as the tuner shows it")
    return a4_hz * math.exp2((note - 69.0) / 12.0)


def cents_between(frequency_hz: float, reference_hz: float) -> float:
    """Give the interval from a reference to a frequency, + when the frequency is sharp of it. [cent].

    Parameters
    ----------
    frequency_hz, reference_hz : float, > 0
        The two pitches. [Hz]

    Raises
    ------
    TradeError
        One of the two is no frequency above 0, or they are too far apart for any interval.

    References
    ----------
    .. [1] Definition of the cent: 1200 to the octave.

    Examples
    --------
    >>> round(cents_between(442.0, 440.0), 4)
    7.8514
    """
    pitches = 0 < frequency_hz < math.inf and 0 < reference_hz < math.inf
    ratio = frequency_hz / reference_hz if pitches else 0.0
    if not 0 < ratio < math.inf:
        raise TradeError(
            f"no interval between {frequency_hz} Hz and {reference_hz} Hz", "Frequencies are above 0 Hz"
        )
    return CENTS_PER_NEPER * math.log(ratio)


def nearest_note(frequency_hz: float, a4_hz: float = ISO_16_A4_HZ) -> tuple[int, float]:
    """Find the tempered note (A4 = 69) nearest to a frequency and the deviation, -50 to +50, from it. [cent].

    Parameters
    ----------
    frequency_hz : float, > 0
        Sounding pitch. [Hz]
    a4_hz : float
        Frequency of A4. [Hz]

    Raises
    ------
    TradeError
        A frequency that is none, or not above 0.

    References
    ----------
    .. [1] Definition of equal temperament; A4 after ISO 16:1975.

    Examples
    --------
    >>> note, cents = nearest_note(118.2)
    >>> note, round(cents, 3)
    (46, 24.472)
    """
    semitones = 69.0 + cents_between(frequency_hz, a4_hz) / 100.0
    note = math.floor(semitones + 0.5)
    return note, 100.0 * (semitones - note)


def note_name(note: int) -> str:
    """Give the written name of a note number, octaves counted so that A4 is 69.

    Examples
    --------
    >>> note_name(34), note_name(69)
    ('B-flat1', 'A4')
    """
    return f"{_NAMES[note % 12]}{note // 12 - 1}"


def harmonic_semitones(partial: int) -> int:
    """Give the number of semitones from the fundamental to the tempered note nearest to a harmonic.

    Examples
    --------
    >>> [harmonic_semitones(n) for n in (1, 2, 3, 5, 7, 8)]
    [0, 12, 19, 28, 34, 36]
    """
    if partial < 1:
        raise TradeError(f"partial {partial} does not exist", "Partials are counted from 1, the pedal note")
    return math.floor(12.0 * math.log2(partial) + 0.5)


def harmonic_deviation(partial: int) -> float:
    """Give how far (+ = sharp) a harmonic lies from its nearest tempered note. [cent].

    These deviations belong to the harmonic series: a fifth partial 13.7 cents flat is no fault.

    Parameters
    ----------
    partial : int, >= 1
        Number in the harmonic series.

    Raises
    ------
    TradeError
        `partial` below 1.

    References
    ----------
    .. [1] Definition: 1200 log2 n; 3, 5, 7, 9 checked against an encyclopaedia's table of harmonics.

    Examples
    --------
    >>> [round(harmonic_deviation(n), 2) for n in (3, 5, 7, 8, 9)]
    [1.96, -13.69, -31.17, 0.0, 3.91]
    """
    semitones = harmonic_semitones(partial)
    return 1200.0 * math.log2(partial) - 100.0 * semitones


def speed_of_sound_dry(air_c: float) -> float:
    """Give the speed of sound in dry air as an ideal gas. [m/s].

    Parameters
    ----------
    air_c : float
        Air temperature. [C]

    Raises
    ------
    TradeError
        At or below absolute zero.

    References
    ----------
    .. [1] Ideal-gas form 331.3 sqrt(1 + t/273.15); agrees with 343.2 m/s at 20 C.

    Examples
    --------
    >>> round(speed_of_sound_dry(20.0), 3)
    343.215
    """
    if not air_c > -KELVIN_AT_0C:
        raise TradeError(f"{air_c} C is below absolute zero", "Give the air temperature in degrees Celsius")
    return 331.3 * math.sqrt(1.0 + air_c / KELVIN_AT_0C)


def speed_of_sound_moist(
    air_c: float, relative_humidity: float, pressure_pa: float = 101325.0, co2_fraction: float = 0.0004
) -> float:
    """Give the speed of sound in moist air with carbon dioxide, to about 300 parts in a million. [m/s].

    Parameters
    ----------
    air_c : float, 0 to 30
        Air temperature. [C]
    relative_humidity : float, 0 to 1
        Share of saturation.
    pressure_pa : float, 75 000 to 102 000
        Air pressure. [Pa]
    co2_fraction : float, 0 to 0.01
        Mole fraction of carbon dioxide.

    Raises
    ------
    TradeError
        Outside the range of the published fit.

    References
    ----------
    .. [1] O. Cramer, J. Acoust. Soc. Am. 93(5), 1993, 2510-2516, with its own vapour-pressure form.

    Examples
    --------
    >>> round(speed_of_sound_moist(20.0, 0.5), 3)
    343.987
    """
    in_range = 0 <= air_c <= 30 and 75e3 <= pressure_pa <= 102e3
    if not (in_range and 0 <= relative_humidity <= 1 and 0 <= co2_fraction <= 0.01):
        raise TradeError(
            f"air at {air_c} C, {relative_humidity}, {pressure_pa} Pa, CO2 {co2_fraction} is out of range",
            "It holds for 0 to 30 C, humidity 0 to 1, 75 to 102 kPa and CO2 up to 0.01",
        )
    a, t, p, xc = CRAMER_1993, air_c, pressure_pa, co2_fraction
    xw = water_fraction(air_c, relative_humidity, pressure_pa)
    return (
        a[0] + a[1] * t + a[2] * t**2
        + (a[3] + a[4] * t + a[5] * t**2) * xw
        + (a[6] + a[7] * t + a[8] * t**2) * p
        + (a[9] + a[10] * t + a[11] * t**2) * xc
        + a[12] * xw**2 + a[13] * p**2 + a[14] * xc**2 + a[15] * xw * p * xc
    )  # fmt: skip


def water_fraction(air_c: float, relative_humidity: float, pressure_pa: float = 101325.0) -> float:
    """Give the mole fraction of water vapour, by the forms printed in Cramer 1993.

    Examples
    --------
    >>> round(water_fraction(20.0, 0.5), 5)
    0.01159
    """
    kelvin = air_c + KELVIN_AT_0C
    enhancement = 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * air_c**2
    exponent = 1.2811805e-5 * kelvin**2 - 1.9509874e-2 * kelvin + 34.04926034 - 6.3536311e3 / kelvin
    return relative_humidity * enhancement * math.exp(exponent) / pressure_pa


def temperature_cents(air_c: float, reference_c: float = 20.0) -> float:
    """Give how much sharper an instrument sounds in air of one temperature than at the reference. [cent].

    A first approximation: the column inside a blown instrument is warmer than the room.

    Parameters
    ----------
    air_c, reference_c : float
        Air temperature now and at the reference. [C]

    Raises
    ------
    TradeError
        A temperature below absolute zero.

    References
    ----------
    .. [1] Dry ideal gas: half of 1200 log2 of the ratio of absolute temperatures.

    Examples
    --------
    >>> round(temperature_cents(24.0, 18.0), 3)
    17.657
    """
    return cents_between(speed_of_sound_dry(air_c), speed_of_sound_dry(reference_c))


def expansion_cents(warmer_by_k: float, expansion_per_k: float = BRASS_EXPANSION_PER_K) -> float:
    """Give the pitch change from the brass alone growing longer (always small and opposite to the air's).

    Examples
    --------
    >>> round(expansion_cents(1.0), 4)
    -0.0345
    """
    return -CENTS_PER_NEPER * math.log1p(expansion_per_k * warmer_by_k)
