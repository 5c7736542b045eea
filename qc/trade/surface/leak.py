"""Leaks of joints and valves by pressure decay, the air's temperature allowed for, and faults between joints.

Pressures in millibar; volumes in cm3; leaks in cm3/min of air at atmospheric pressure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import betainc

from qc.stats import Tabled
from qc.trade.errors import TradeError
from qc.trade.sound import KELVIN_AT_0C

STANDARD_ATMOSPHERE_MBAR = 1013.25
"""Standard atmosphere, by definition."""

MOST_JOINTS = 1_000_000
"""Chosen: more than a workshop solders in its life."""

EXACT_JOINTS = 500
"""Up to here the number of choices is a float by itself; chosen well below 1,030, where it no longer is."""


@dataclass(frozen=True, slots=True)
class Leak(Tabled):
    """A leak with what was allowed for.

    Parameters
    ----------
    leak_cm3_per_min : float
        Leak of the part: rig and temperature taken off; may come out slightly below 0.
    temperature_cm3_per_min : float
        What the air's cooling (+) or warming (-) alone would have shown.
    rig_cm3_per_min : float
        The rig's own leak.
    uncertainty_cm3_per_min : float
        Standard uncertainty from the air temperature.
    clear : bool
        The leak is beyond twice its uncertainty.
    """

    leak_cm3_per_min: float
    temperature_cm3_per_min: float
    rig_cm3_per_min: float
    uncertainty_cm3_per_min: float
    clear: bool


def leak_rate(
    volume_cm3: float, fall_mbar: float, seconds: float, atmosphere_mbar: float = STANDARD_ATMOSPHERE_MBAR
) -> float:
    """Give the leak from a fall of pressure. [cm3/min at atmospheric pressure].

    Parameters
    ----------
    volume_cm3 : float
        Volume of part and rig. [cm3]
    fall_mbar : float
        Fall of pressure, + when it fell. [mbar]
    seconds : float
        Time of the fall. [s]
    atmosphere_mbar : float
        Pressure of the room. [mbar]

    Raises
    ------
    TradeError
        A volume, time or atmosphere that is not above 0.

    References
    ----------
    .. [1] Pressure-decay form Q = V dP / (t P atm), trade articles.

    Examples
    --------
    >>> round(leak_rate(200.0, 5.0, 30.0), 4)
    1.9738
    """
    if min(volume_cm3, seconds, atmosphere_mbar) <= 0:
        raise TradeError("volume, time and atmosphere must be above 0", "Check the rig's settings")
    return volume_cm3 * fall_mbar / (seconds / 60.0 * atmosphere_mbar)


def temperature_pressure_mbar(pressure_abs_mbar: float, warmer_by_k: float, air_c: float = 20.0) -> float:
    """Give the change of pressure a change of air temperature makes in a sealed part. [mbar].

    Parameters
    ----------
    pressure_abs_mbar : float
        Absolute pressure: gauge reading plus atmosphere. [mbar]
    warmer_by_k : float
        Change of air temperature. [K]
    air_c : float
        Temperature. [C]

    References
    ----------
    .. [1] Gas law at constant volume. Computed.

    Examples
    --------
    >>> round(temperature_pressure_mbar(1043.25, 0.1), 4)
    0.3559
    """
    return pressure_abs_mbar * warmer_by_k / (air_c + KELVIN_AT_0C)


def decay_time_s(start_mbar: float, end_mbar: float, seconds: float) -> float:
    """Give the time constant of an exponential fall of gauge pressure.

    Examples
    --------
    >>> round(decay_time_s(30.0, 22.0, 45.0), 2)
    145.09
    """
    if not start_mbar > end_mbar > 0 or seconds <= 0:
        raise TradeError(
            f"from {start_mbar} to {end_mbar} mbar is no decay", "Give gauge pressures, start above end"
        )
    return seconds / math.log(start_mbar / end_mbar)


def judge_leak(
    volume_cm3: float,
    start_gauge_mbar: float,
    end_gauge_mbar: float,
    seconds: float,
    *,
    warmer_by_k: float = 0.0,
    temperature_sd_k: float = 0.05,
    rig_cm3_per_min: float = 0.0,
    atmosphere_mbar: float = STANDARD_ATMOSPHERE_MBAR,
) -> Leak:
    """Give the leak of a part with the air's temperature and the rig's own leak allowed for.

    Parameters
    ----------
    volume_cm3, start_gauge_mbar, end_gauge_mbar, seconds : float
        Volume of part and rig, gauge pressures, time between them.
    warmer_by_k : float
        How much the air in the part warmed meanwhile. [K]
    temperature_sd_k : float
        How well that is known. [K]
    rig_cm3_per_min : float
        Leak of the rig on a plugged fitting, from its daily check.
    atmosphere_mbar : float
        Pressure of the room. [mbar]

    Returns
    -------
    Leak
        The part's own leak, and whether it is clear of the doubt in the temperature.

    References
    ----------
    .. [1] Pressure-decay form with the gas law. Computed; 0.1 K fakes 0.36 mbar.

    Examples
    --------
    >>> leak = judge_leak(200.0, 30.0, 25.0, 30.0, warmer_by_k=-0.1, rig_cm3_per_min=0.2)
    >>> round(leak.leak_cm3_per_min, 2), leak.clear
    (1.63, True)
    """
    absolute = start_gauge_mbar + atmosphere_mbar
    per_mbar = leak_rate(volume_cm3, 1.0, seconds, atmosphere_mbar)
    shown = per_mbar * (start_gauge_mbar - end_gauge_mbar)
    by_temperature = -per_mbar * temperature_pressure_mbar(absolute, warmer_by_k)
    doubt = per_mbar * temperature_pressure_mbar(absolute, temperature_sd_k)
    own = shown - by_temperature - rig_cm3_per_min
    # two standard uncertainties, common practice for a factor near 95 %
    return Leak(own, by_temperature, rig_cm3_per_min, doubt, own > 2.0 * doubt)


def chance_of_faults(at_least: int, joints: int, fault_share: float) -> float:
    """Give the chance of so many faulty joints or more when nothing has changed.

    Parameters
    ----------
    at_least, joints : int
        Faults seen, and joints or instruments made.
    fault_share : float
        Usual share of faults.

    Raises
    ------
    TradeError
        Numbers that no count can be, or a share outside 0 to 1.

    References
    ----------
    .. [1] Binomial distribution. Computed.

    Examples
    --------
    >>> round(chance_of_faults(3, 12, 0.03), 5)
    0.00485
    """
    _check_share(fault_share)
    for count in (at_least, joints):
        if not 0 <= count <= MOST_JOINTS:
            raise TradeError(f"{count} is no number of joints", f"Count them: 0 to {MOST_JOINTS:,}")
    if at_least > joints:
        return 0.0
    if at_least == 0 or fault_share in (0.0, 1.0):
        return 1.0 if at_least == 0 or fault_share == 1.0 else 0.0
    if joints > EXACT_JOINTS:  # the same tail as an incomplete beta function
        return float(betainc(at_least, joints - at_least + 1, fault_share))
    fewer = math.fsum(
        math.comb(joints, k) * fault_share**k * (1.0 - fault_share) ** (joints - k) for k in range(at_least)
    )
    return max(0.0, 1.0 - fewer)


def chance_of_short_gap(good_between: int, fault_share: float) -> float:
    """Give the chance that so few good joints or fewer lie between two faults when nothing has changed.

    Raises
    ------
    TradeError
        A number below 0, or a share outside 0 to 1.

    Examples
    --------
    >>> round(chance_of_short_gap(2, 0.03), 4)
    0.0873
    """
    _check_share(fault_share)
    if not 0 <= good_between < math.inf:
        raise TradeError(f"{good_between} is no number of good joints", "Count those between the two faults")
    return 1.0 - (1.0 - fault_share) ** (good_between + 1)


def _check_share(fault_share: float) -> None:
    if not 0.0 <= fault_share <= 1.0:
        raise TradeError(f"{fault_share:g} is no share of faults", "Give it between 0 and 1, as 0.03")


def good_between_faults(faults: Sequence[bool]) -> list[int]:
    """Count the good joints before each fault, in order of making.

    Examples
    --------
    >>> good_between_faults([False, False, True, False, True])
    [2, 1]
    """
    gaps, good = [], 0
    for fault in faults:
        if fault:
            gaps.append(good)
            good = 0
        else:
            good += 1
    return gaps
