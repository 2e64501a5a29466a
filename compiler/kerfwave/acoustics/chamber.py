"""The chamber: one spring of air, or a duct from the driver's place to the guide's inlet with a stub behind either.

Along its longer side the chamber is a duct like any other, lossy and maybe full of fibre, closed at both ends. Driver
and guide meet it somewhere on the way; what lies beyond either is a side branch. Where the guide begins, the flow
gathers from the chamber's section into the inlet, which costs an inertance of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from kerfwave.acoustics.bends import corner_inertance, plane_step_inertance
from kerfwave.acoustics.duct import Complex, propagation
from kerfwave.acoustics.porous import filled, miki
from kerfwave.model.acoustic import Air, ChamberDuct, ChamberShape


@dataclass(frozen=True, slots=True)
class Rear:
    """A chamber between driver and guide, each of shape (F,) or (C, F): what stands beside, and the way between."""

    beside: Complex  # admittance at the driver: stub, leak, odd volume; or the whole spring
    leak: Any  # the leak's part of that
    stub: Complex | None = None  # admittance at the guide's inlet; None: there is no way between, one spring
    step: Any = 0.0  # series impedance between that place and the guide
    cosh: Any = 1.0  # of the way between
    sinh: Any = 0.0
    specific: Any = 1.0  # acoustic impedance of the duct, Pa s/m^3

    def from_guide(self, pressure: Complex, flow: Complex) -> tuple[Complex, Complex]:
        """Return pressure at the driver and volume velocity towards the guide from those at the guide's inlet."""
        if self.stub is None:
            return pressure, flow
        pressure = pressure + self.step * flow
        flow = flow + self.stub * pressure
        return (
            self.cosh * pressure + self.specific * self.sinh * flow,
            self.sinh / self.specific * pressure + self.cosh * flow,
        )


def rear(
    volume_m3: Any, flow_resistivity: Any, leak_pa_s_m3: Any, duct: ChamberDuct | None, omega: Any, air: Air
) -> Rear:
    """Return the chamber of one body, or of C of them at once.

    Args:
        volume_m3: all its air; numbers, or arrays of shape (C, 1), as are all that follow and the duct's fields.
        flow_resistivity: of fibre that fills it, Pa s/m^2; 0: none.
        leak_pa_s_m3: resistance to the outside, at the driver; 0: tight.
        duct: its shape; None: its pressure is the same everywhere.
        omega: angular frequency, rad/s, shape (F,).
        air: the medium.
    """
    leak = leak_admittance(leak_pa_s_m3)
    if duct is None:
        return Rear(chamber_admittance(volume_m3, flow_resistivity, omega, air) + leak, leak)
    gamma, specific = propagation(duct.area_m2, duct.perimeter_m, air, omega, flow_resistivity)
    impedance = specific / duct.area_m2
    driver, throat, length = (np.asarray(v, dtype=float) for v in (duct.driver_m, duct.throat_m, duct.length_m))
    first = throat <= driver  # the guide's inlet lies nearer to the end that both are counted from
    x = gamma * np.abs(driver - throat)
    odd = chamber_admittance(volume_m3 - np.asarray(duct.area_m2) * length, flow_resistivity, omega, air)
    return Rear(
        beside=odd + np.tanh(gamma * np.where(first, length - driver, driver)) / impedance + leak,
        leak=leak,
        stub=np.tanh(gamma * np.where(first, throat, length - throat)) / impedance,
        step=duct.step_kg_m4 / air.density * gamma * specific,
        cosh=np.cosh(x),
        sinh=np.sinh(x),
        specific=impedance,
    )


def chamber_duct(shape: ChamberShape, inlet_m: float, air: Air) -> ChamberDuct:
    """Return a measured chamber as the network takes it.

    Args:
        shape: as measured.
        inlet_m: width of the guide where it begins.
        air: the medium.

    A guide that leaves through the longer side turns a corner: the corner's own inertance, less that of the piece of
    duct from the inlet's middle to its edge, which the duct has already. One that leaves through an end is a step.
    """
    wide = shape.width_m
    if shape.sideways:
        step = corner_inertance(inlet_m, wide, shape.height_m, air)
        step -= air.density * inlet_m / 2.0 / (wide * shape.height_m)
    else:
        step = plane_step_inertance(min(inlet_m, wide), wide, shape.height_m, air)
    return ChamberDuct(
        length_m=shape.length_m,
        area_m2=wide * shape.height_m,
        perimeter_m=2.0 * (wide + shape.height_m),
        driver_m=shape.driver_m,
        throat_m=shape.throat_m,
        step_kg_m4=step,
    )


def chamber_admittance(volume_m3: Any, flow_resistivity: Any, omega: Any, air: Air) -> Complex:
    """Return j omega V / K in m^3/(Pa s): K is density c^2, or Miki's bulk modulus Zc omega / k with fibre inside.

    Raises:
        ValueError: for a negative flow resistivity.
    """
    omega = np.asarray(omega, dtype=float)
    fibre = filled(flow_resistivity)
    stiffness: Any = air.density * air.speed**2
    if fibre.any():
        impedance, wavenumber = miki(omega, np.where(fibre, flow_resistivity, 1.0), air)
        stiffness = np.where(fibre, impedance * omega / wavenumber, stiffness)
    return np.asarray(1j * omega * volume_m3 / stiffness)


def leak_admittance(leak_pa_s_m3: Any) -> Any:
    """Return 1 / resistance, 0 for a tight chamber."""
    leak = np.asarray(leak_pa_s_m3, dtype=float)
    return np.where(leak > 0.0, 1.0 / np.where(leak > 0.0, leak, 1.0), 0.0)


def leak_resistance(ql: float, tuning_hz: float, chamber_m3: float, air: Air) -> float:
    """Return the acoustic resistance in Pa s/m^3 of the leaks that a box of this QL has at its tuning.

    QL = omega_B C_AB R_L with C_AB = V / (density c^2). Well built boxes have 5 to 20, 7 is what designs reckon with.

    Raises:
        ValueError: for a value that is not above 0.

    Source: R. H. Small, "Vented-Box Loudspeaker Systems Part I", JAES 21 (1973) 363 (from memory).
    """
    if not (ql > 0.0 and tuning_hz > 0.0 and chamber_m3 > 0.0):
        raise ValueError("QL, tuning and chamber must be above 0")
    return ql * air.density * air.speed**2 / (2.0 * math.pi * tuning_hz * chamber_m3)
