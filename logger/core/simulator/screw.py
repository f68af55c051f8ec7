"""The square-thread screw: torque to push a load along, and torque to let it come back.

Textbook statics of a power screw (Shigley's Mechanical Engineering Design, power screws; check value SCR-1).
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Screw:
    """A lead screw behind a reduction gear."""

    mean_diameter_m: float
    lead_m: float
    friction: float
    """Coefficient of friction in the thread, 1."""
    gear_ratio: float
    """Motor turns for one turn of the screw."""
    gear_efficiency: float = 0.85

    @property
    def motor_rad_per_m(self) -> float:
        """Motor angle for each metre of rod travel [rad/m]."""
        return 2 * math.pi * self.gear_ratio / self.lead_m

    def motor_torque_nm(self, load_n: float) -> float:
        """Torque at the motor that a load on the rod asks for [N·m].

        A load against the movement (> 0) is raised; one that helps (< 0) is lowered, which on a self-locking
        screw still costs torque. Never below zero: the gear train takes up what would drive the motor.
        """
        if load_n >= 0:
            torque = raising_torque_nm(load_n, self.mean_diameter_m, self.lead_m, self.friction)
        else:
            torque = max(0.0, lowering_torque_nm(-load_n, self.mean_diameter_m, self.lead_m, self.friction))
        return torque / (self.gear_ratio * self.gear_efficiency)


def raising_torque_nm(load_n: float, mean_diameter_m: float, lead_m: float, friction: float) -> float:
    """Torque at the screw that moves a load against its push [N·m]; square thread, no collar."""
    d, lead, f = mean_diameter_m, lead_m, friction
    return load_n * d / 2 * (lead + math.pi * f * d) / (math.pi * d - f * lead)


def lowering_torque_nm(load_n: float, mean_diameter_m: float, lead_m: float, friction: float) -> float:
    """Torque at the screw that moves a load the way it pushes [N·m]; below zero: the load drives the screw, which then doesn't
    hold by itself (check value SCR-3)."""
    d, lead, f = mean_diameter_m, lead_m, friction
    return load_n * d / 2 * (math.pi * f * d - lead) / (math.pi * d + f * lead)
