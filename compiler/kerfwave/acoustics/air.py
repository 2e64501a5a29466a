"""The air in the box, by IEC 61094-2:2009, Annex F.

The annex states its polynomials for 15 to 27 degC, 60 to 110 kPa and 10 to 90 % relative humidity. Plain `math`
only: a spec check needs the air, and must not wait for numpy.
"""

from __future__ import annotations

import math

from kerfwave.model.acoustic import Air

ZERO_CELSIUS_K = 273.15
CARBON_DIOXIDE = 0.0004  # mole fraction, the annex's own reference value


def air(temperature_c: float = 20.0, pressure_pa: float = 101325.0, humidity: float = 0.5) -> Air:
    """Return density, speed of sound, viscosity, ratio of specific heats and Prandtl number of moist air.

    Args:
        temperature_c: degrees Celsius.
        pressure_pa: static pressure, Pa.
        humidity: relative humidity, 0 to 1.

    Raises:
        ValueError: for values no workshop has (below -30 or above 60 degC, outside 50 to 120 kPa, humidity
            outside 0 to 1), where the polynomials mean nothing.

    Source: IEC 61094-2:2009, Annex F (equation of state CIPM-2007, speed of sound after Cramer 1993).
    """
    if not -30.0 <= temperature_c <= 60.0:
        raise ValueError(f"temperature_c is {temperature_c}; it must lie between -30 and 60")
    if not 50e3 <= pressure_pa <= 120e3:
        raise ValueError(f"pressure_pa is {pressure_pa}; it must lie between 50000 and 120000")
    if not 0.0 <= humidity <= 1.0:
        raise ValueError(f"humidity is {humidity}; it is a fraction between 0 and 1")
    t, p, x_c = temperature_c, pressure_pa, CARBON_DIOXIDE
    kelvin = t + ZERO_CELSIUS_K
    x_w = _water_fraction(t, p, humidity)
    density = _density(t, p, x_w, x_c)
    viscosity = 1e-8 * (84.986 + 7.0 * kelvin + (113.157 - kelvin) * x_w - 3.7501e-3 * kelvin**2 - 100.015 * x_w**2)
    # Both in the annex's kilocalories, which cancel in the Prandtl number.
    conductivity = 1e-8 * (60.054 + 1.846 * kelvin + 2.06e-6 * kelvin**2 + (40.0 - 1.775e-4 * kelvin) * x_w)
    heat_capacity = (
        0.251625
        - 9.2525e-5 * kelvin
        + 2.1334e-7 * kelvin**2
        - 1.0043e-10 * kelvin**3
        + (0.12477 - 2.283e-5 * kelvin + 1.267e-7 * kelvin**2) * x_w
        + (0.01116 + 4.61e-6 * kelvin + 1.74e-8 * kelvin**2) * x_w**2
    )
    return Air(
        density=density,
        speed=_mixed(_SPEED, t, p, x_w, x_c),
        viscosity=viscosity,
        gamma=_mixed(_GAMMA, t, p, x_w, x_c),
        prandtl=viscosity * heat_capacity / conductivity,
    )


# a0 to a15 of the annex's polynomial in temperature, pressure, water and carbon dioxide.
_SPEED = (
    *(331.5024, 0.603055, -0.000528, 51.471935, 0.1495874, -0.000782, -1.82e-7, 3.73e-8),
    *(-2.93e-10, -85.20931, -0.228525, 5.91e-5, -2.835149, -2.15e-13, 29.179762, 0.000486),
)
_GAMMA = (
    *(1.400822, -1.75e-5, -1.73e-7, -0.0873629, -0.0001665, -3.26e-6, 2.047e-8, -1.26e-10),
    *(5.939e-14, -0.1199717, -0.0008693, 1.979e-6, -0.01104, -3.478e-16, 0.0450616, 1.82e-6),
)


def _mixed(a: tuple[float, ...], t: float, p: float, x_w: float, x_c: float) -> float:
    return (
        a[0]
        + a[1] * t
        + a[2] * t**2
        + (a[3] + a[4] * t + a[5] * t**2) * x_w
        + (a[6] + a[7] * t + a[8] * t**2) * p
        + (a[9] + a[10] * t + a[11] * t**2) * x_c
        + a[12] * x_w**2
        + a[13] * p**2
        + a[14] * x_c**2
        + a[15] * x_w * p * x_c
    )


def _water_fraction(t: float, p: float, humidity: float) -> float:
    """Return the mole fraction of water vapour."""
    kelvin = t + ZERO_CELSIUS_K
    saturation = math.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * t**2
    return humidity * enhancement * saturation / p


def _density(t: float, p: float, x_w: float, x_c: float) -> float:
    kelvin = t + ZERO_CELSIUS_K
    ratio = p / kelvin
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
    first += (5.707e-6 - 2.051e-8 * t) * x_w + (1.9898e-4 - 2.376e-6 * t) * x_w**2
    compressibility = 1.0 - ratio * first + ratio**2 * (1.83e-11 - 0.765e-8 * x_w**2)
    return (3.483740 + 1.4446 * (x_c - 0.0004)) * 1e-3 * ratio / compressibility * (1.0 - 0.3780 * x_w)
