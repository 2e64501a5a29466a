"""Hoods, ducts and make-up air. SI units: m, m^2, m/s, m^3/s, Pa.

Hoods: the Dalla Valle form as handbooks of industrial ventilation print it. Newer tests show that it can be far off
for real hoods, so a line that uses it also asks for a look with smoke.
"""

from __future__ import annotations

import math

AIR_DENSITY = 1.2  # kg/m^3
ORIFICE_CD = 0.6  # sharp edge, from memory
FLEXIBLE_FRICTION = 0.04  # from memory; a smooth pipe has about half of it
BENDS_AND_EXIT = 2 * 0.75 + 1.0  # two bends and the outlet, from memory


def box_flow(open_area_m2: float, face_m_s: float = 0.5) -> float:
    """Return the airflow, m^3/s, that draws air in through every gap of a box at `face_m_s` (continuity)."""
    return face_m_s * open_area_m2


def nozzle_flow(distance_m: float, area_m2: float, capture_m_s: float = 0.5, *, flanged: bool = False) -> float:
    """Return the airflow, m^3/s, that moves air at `capture_m_s` on the axis of a free opening: v (10 x^2 + A).

    A flange saves a quarter.
    """
    return (0.75 if flanged else 1.0) * capture_m_s * (10.0 * distance_m**2 + area_m2)


def duct_velocity(flow_m3_s: float, diameter_m: float) -> float:
    """Return the mean velocity, m/s, in a round duct."""
    return flow_m3_s / (math.pi / 4.0 * diameter_m**2)


def pressure_drop(
    velocity_m_s: float,
    length_m: float,
    diameter_m: float,
    friction: float = FLEXIBLE_FRICTION,
    fittings: float = BENDS_AND_EXIT,
) -> float:
    """Return the pressure, Pa, that a duct with its fittings takes (Darcy and Weisbach): (f L/D + K) rho v^2 / 2."""
    return (friction * length_m / diameter_m + fittings) * AIR_DENSITY * velocity_m_s**2 / 2.0


def make_up_area(flow_m3_s: float, pressure_pa: float = 5.0) -> float:
    """Return the opening, m^2, through which `flow_m3_s` enters at `pressure_pa` below outdoors (orifice law)."""
    return flow_m3_s / (ORIFICE_CD * math.sqrt(2.0 * pressure_pa / AIR_DENSITY))
