"""Drawing tube: sections, reductions, the volume balance, forces and spring-back.

Diameters and lengths in millimetres.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from qc.stats import Tabled
from qc.trade.errors import TradeError
from qc.trade.slide import VOLUME_BALANCE_LIMIT


@dataclass(frozen=True, slots=True)
class VolumeBalance(Tabled):
    """Whether the metal that went in came out: a cross-check of hand readings.

    Parameters
    ----------
    error : float
        Volume after over volume before, less 1.
    closes : bool
        Within the limit (2 % unless told otherwise).
    suspect : str
        What to measure again when it does not close, else empty.
    """

    error: float
    closes: bool
    suspect: str


@dataclass(frozen=True, slots=True)
class SpringBack(Tabled):
    """How much larger than the die's bore the tube comes out, learned from its own draws.

    Parameters
    ----------
    offset_um, sd_um : float
        Mean and spread of tube less die. [um]
    standard_error_um : float
        Of the mean. [um]
    n : int
        Draws it rests on.
    """

    offset_um: float
    sd_um: float
    standard_error_um: float
    n: int


def section_mm2(outer_mm: float, inner_mm: float) -> float:
    """Give the cross-section of metal of a tube. [mm2].

    Parameters
    ----------
    outer_mm, inner_mm : float
        Outside and inside diameter. [mm]

    Raises
    ------
    TradeError
        The inside is not smaller than the outside.

    References
    ----------
    .. [1] Geometry of a ring. Computed.

    Examples
    --------
    >>> round(section_mm2(15.40, 14.25), 4)
    26.7801
    """
    if not outer_mm > inner_mm >= 0:
        raise TradeError(
            f"outside {outer_mm} mm and inside {inner_mm} mm leave no wall", "Check which diameter is which"
        )
    return math.pi / 4.0 * (outer_mm**2 - inner_mm**2)


def wall_mm(outer_mm: float, inner_mm: float) -> float:
    """Give the mean wall of a tube.

    Examples
    --------
    >>> round(wall_mm(14.90, 14.05), 3)
    0.425
    """
    section_mm2(outer_mm, inner_mm)
    return (outer_mm - inner_mm) / 2.0


def eccentricity(walls_mm: Sequence[float]) -> float:
    """Give the eccentricity of a tube's wall, 0 for an even wall (formula from memory).

    Examples
    --------
    >>> round(eccentricity([0.42, 0.43, 0.44, 0.43]), 4)
    0.0233
    """
    if len(walls_mm) < 2 or min(walls_mm) <= 0:
        raise TradeError("eccentricity needs two wall readings above 0", "Read the wall around the tube")
    return (max(walls_mm) - min(walls_mm)) / (max(walls_mm) + min(walls_mm))


def area_reduction(section_before: float, section_after: float) -> float:
    """Give the reduction of section of one pass as a share; 0.25 to 0.45 is usual (from memory).

    Parameters
    ----------
    section_before, section_after : float
        Cross-sections. [mm2]

    References
    ----------
    .. [1] Definition. Computed.

    Examples
    --------
    >>> round(area_reduction(section_mm2(15.40, 14.25), section_mm2(14.90, 14.05)), 4)
    0.2783
    """
    return 1.0 - section_after / section_before


def length_after_mm(length_mm: float, section_before: float, section_after: float) -> float:
    """Give the length of a tube after a pass; the volume is kept.

    Examples
    --------
    >>> round(length_after_mm(500.0, section_mm2(15.40, 14.25), section_mm2(14.90, 14.05)), 2)
    692.83
    """
    return length_mm * section_before / section_after


def volume_balance(
    before: tuple[float, float, float],
    after: tuple[float, float, float],
    limit: float = VOLUME_BALANCE_LIMIT,
) -> VolumeBalance:
    """Check hand readings of a drawn tube against each other: metal is neither made nor lost.

    Parameters
    ----------
    before, after : tuple of (outside, inside, length)
        The tube before and after the pass. [mm]
    limit : float
        Share beyond which a reading is taken to be wrong.

    Raises
    ------
    TradeError
        Diameters that leave no wall, or a length not above 0.

    References
    ----------
    .. [1] Constancy of volume. Computed; the 2 % limit is common practice, no source.

    Examples
    --------
    >>> volume_balance((15.40, 14.25, 500.0), (14.90, 14.05, 692.8)).closes
    True
    """
    if min(before[2], after[2]) <= 0:
        raise TradeError("a tube without length", "Give both lengths in millimetres")
    error = section_mm2(*after[:2]) * after[2] / (section_mm2(*before[:2]) * before[2]) - 1.0
    closes = abs(error) <= limit
    suspect = "" if closes else "measure all six figures again: the wall is the one a small slip moves most"
    return VolumeBalance(error, closes, suspect)


def draw_force_kn(
    flow_stress_mpa: float, section_before: float, section_after: float, efficiency: float = 0.65
) -> float:
    """Estimate the force of a pass from ideal work over an efficiency. [kN].

    Parameters
    ----------
    flow_stress_mpa : float
        Mean flow stress, about 400 for half-hard brass. [MPa]
    section_before, section_after : float
        Cross-sections. [mm2]
    efficiency : float
        Share of work that deforms; 0.6 to 0.7.

    Raises
    ------
    TradeError
        No reduction, or an efficiency outside 0 to 1.

    References
    ----------
    .. [1] Ideal work of deformation, from memory.

    Examples
    --------
    >>> round(draw_force_kn(400.0, section_mm2(15.40, 14.25), section_mm2(14.90, 14.05)), 3)
    3.879
    """
    if not (0 < section_after < section_before and 0 < efficiency <= 1 and flow_stress_mpa > 0):
        raise TradeError("no force for such a pass", "The section must fall, and efficiency lie in 0 to 1")
    work = flow_stress_mpa * section_after * math.log(section_before / section_after)
    return work / efficiency / 1000.0


def tube_parts_at_kn(strength_mpa: float, section_after: float) -> float:
    """Give the force at which the drawn end would part: strength times section.

    Examples
    --------
    >>> round(tube_parts_at_kn(480.0, section_mm2(14.90, 14.05)), 2)
    9.28
    """
    return strength_mpa * section_after / 1000.0


def spring_back(tubes_mm: Sequence[float], dies_mm: Sequence[float]) -> SpringBack:
    """Learn the spring-back of a die and temper from draws where both diameters were read.

    Parameters
    ----------
    tubes_mm, dies_mm : sequence of float, length n >= 2
        Outside diameter of each drawn tube and the die bore it came through. [mm]

    Returns
    -------
    SpringBack
        Mean offset with its spread; expect 0.1 to 0.3 % of the diameter (computed estimate).

    Raises
    ------
    TradeError
        Fewer than two draws or unequal lengths.

    References
    ----------
    .. [1] Mean and standard error of the mean, any textbook.

    Examples
    --------
    >>> learned = spring_back([14.602, 14.604, 14.603], [14.575, 14.575, 14.575])
    >>> round(learned.offset_um, 1), round(learned.sd_um, 1)
    (28.0, 1.0)
    """
    if len(tubes_mm) != len(dies_mm) or len(tubes_mm) < 2:
        raise TradeError("spring-back needs two or more draws with tube and die", "Record both diameters")
    offsets = [1000.0 * (tube - die) for tube, die in zip(tubes_mm, dies_mm, strict=True)]
    spread = statistics.stdev(offsets)
    return SpringBack(statistics.fmean(offsets), spread, spread / math.sqrt(len(offsets)), len(offsets))


def modified_upper_limit(
    upper_limit: float, sigma: float, share_outside: float = 0.01, n: int = 1, z_alpha: float = 3.0
) -> float:
    """Give the highest mean of n pieces a drifting but capable process may show. [same unit].

    Legitimate only while sigma is far below the tolerance and the slope does no harm.

    Parameters
    ----------
    upper_limit, sigma : float
        Upper limit of the piece and spread of the process. [any one unit]
    share_outside : float
        Share of pieces over the limit that is still accepted.
    n : int
        Pieces in the mean.
    z_alpha : float
        Width of the chart in standard errors.

    References
    ----------
    .. [1] Modified limits, statistical quality control textbook; formula from memory.

    Examples
    --------
    >>> round(modified_upper_limit(14.640, 0.004, n=4), 5)
    14.63669
    """
    z_share = statistics.NormalDist().inv_cdf(1.0 - share_outside)
    return upper_limit - (z_share - z_alpha / math.sqrt(n)) * sigma


def spun_wall_mm(sheet_mm: float, half_cone_degrees: float) -> float:
    """Give the wall after shear spinning by the sine law (formula from memory): a lower bound for a flare.

    Examples
    --------
    >>> round(spun_wall_mm(0.50, 35.0), 4)
    0.2868
    """
    return sheet_mm * math.sin(math.radians(half_cone_degrees))
