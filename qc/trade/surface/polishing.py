"""What polishing takes off: wall and mass loss, and how much of the allowance it eats."""

from __future__ import annotations

from dataclasses import dataclass

from qc.stats import Tabled
from qc.trade.errors import TradeError

BRASS_G_PER_CM3 = 8.53
"""Density of 70/30 brass, wire data sheet."""


@dataclass(frozen=True, slots=True)
class PolishLoss(Tabled):
    """Loss by polishing.

    Parameters
    ----------
    depth_um : float
        Mean depth taken off. [um]
    depth_step_um : float
        Smallest depth the balance can show. [um]
    share_of_wall : float
        Depth as a share of the wall before.
    allowance_used : float or None
        Depth as a share of what the wall may lose; None without a least wall.
    """

    depth_um: float
    depth_step_um: float
    share_of_wall: float
    allowance_used: float | None


def polish_loss(
    mass_before_g: float,
    mass_after_g: float,
    area_m2: float,
    wall_before_mm: float,
    least_wall_mm: float | None = None,
    balance_step_g: float = 0.1,
) -> PolishLoss:
    """Give the mean depth taken off by polishing from the mass lost, and what it eats of the wall.

    Parameters
    ----------
    mass_before_g, mass_after_g : float
        Mass of the part. [g]
    area_m2 : float
        Polished area. [m2]
    wall_before_mm, least_wall_mm : float
        Wall before, and the least the plan allows. [mm]
    balance_step_g : float
        Step of the balance. [g]

    Raises
    ------
    TradeError
        A part that gained mass beyond the balance's step, or no area or wall.

    References
    ----------
    .. [1] Mass over density and area; density from a wire data sheet. Computed.

    Examples
    --------
    >>> loss = polish_loss(1200.0, 1191.5, 0.1, 0.28, least_wall_mm=0.25)
    >>> round(loss.depth_um, 2), round(loss.depth_step_um, 2), round(loss.allowance_used, 2)
    (9.96, 0.12, 0.33)
    """
    if area_m2 <= 0 or wall_before_mm <= 0:
        raise TradeError("no area or no wall", "Give the area in m2 and the wall in mm")
    lost = mass_before_g - mass_after_g
    # A millionth of a gram of slack: decimal readings do not subtract exactly.
    if lost < -balance_step_g - 1e-6:
        raise TradeError(
            f"the part gained {-lost:g} g by polishing", "Check serial and order of the two weighings"
        )
    per_gram = 1.0 / (BRASS_G_PER_CM3 * area_m2)  # g/cm3 times m2 is grams per micrometre of depth
    depth = lost * per_gram
    room = None if least_wall_mm is None else 1000.0 * (wall_before_mm - least_wall_mm)
    if room is not None and room <= 0:
        raise TradeError(
            f"the wall of {wall_before_mm} mm is already at its least {least_wall_mm} mm", "Do not polish"
        )
    return PolishLoss(
        depth,
        balance_step_g * per_gram,
        depth / (1000.0 * wall_before_mm),
        None if room is None else depth / room,
    )


def wall_loss_share(wall_before_mm: float, lost_mm: float) -> float:
    """Give a loss as a share of the wall.

    Examples
    --------
    >>> round(wall_loss_share(0.28, 0.01), 3)
    0.036
    """
    if wall_before_mm <= 0:
        raise TradeError("no wall", "Give the wall before polishing in mm")
    return lost_mm / wall_before_mm
