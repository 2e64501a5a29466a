"""Exposure limits and distances for a continuous visible beam. SI units, point source (at most 1.5 mrad).

Limits: IEC TR 60825-14 and directive 2006/25/EC (the ICNIRP values); worked example of ANSI Z136.1 for the aperture.
"""

from __future__ import annotations

import math

BLINK_S = 0.25  # the aversion response, weak: prefer ACCIDENT_S
ACCIDENT_S = 10.0
WATCHING_S = 100.0  # and longer: the limit is flat from here to 30 000 s

PUPIL_AREA_M2 = math.pi * 3.5e-3**2  # limiting aperture, 7 mm
SKIN_LIMIT_W_M2 = 2000.0  # 400 to 700 nm, longer than 10 s: ANSI Z136.1 and ICNIRP, from memory
CLASS_4_ABOVE_W = 0.5
CLASS_3B_ABOVE_W = 0.005


def covered(wavelength_nm: float) -> bool:
    """Tell whether the limits of this module hold at this wavelength (400 to 700 nm)."""
    return 400.0 <= wavelength_nm <= 700.0


def blue_factor(wavelength_nm: float) -> float:
    """Return C_B (IEC: C3): 1 up to 450 nm, 10^(0.02 (wavelength - 450)) to 600 nm. Directive 2006/25/EC.

    Raises:
        ValueError: outside 400 to 600 nm, where there is no photochemical retinal limit of this form.
    """
    if not 400.0 <= wavelength_nm <= 600.0:
        raise ValueError(f"no photochemical factor at {wavelength_nm} nm, only from 400 to 600 nm")
    return 1.0 if wavelength_nm <= 450.0 else 10.0 ** (0.02 * (wavelength_nm - 450.0))


def exposure_limit(wavelength_nm: float, seconds: float) -> float:
    """Return the maximum permissible exposure (MPE) at the cornea, W/m^2: thermal or photochemical, the smaller.

    Thermal: 18 t^0.75 J/m^2 from 18 us to 10 s, 10 W/m^2 beyond. Photochemical, 400 to 600 nm: 100 C_B J/m^2 up to
    100 s, C_B W/m^2 beyond.

    Raises:
        ValueError: outside 400 to 700 nm or outside 18 us to 30 000 s.
    """
    if not covered(wavelength_nm):
        raise ValueError(f"exposure limits at {wavelength_nm} nm are not in here, only from 400 to 700 nm")
    if not 18e-6 <= seconds <= 3e4:
        raise ValueError(f"exposure limits for {seconds} s are not in here, only from 18 microseconds to 30000 s")
    thermal = 18.0 * seconds**-0.25 if seconds <= 10.0 else 10.0
    if wavelength_nm > 600.0:
        return thermal
    return min(thermal, blue_factor(wavelength_nm) * max(1.0, 100.0 / seconds))


def laser_class(power_w: float) -> str:
    """Return the class of an accessible continuous visible beam (IEC 60825-1): "4", "3B" or "3R or lower"."""
    if power_w > CLASS_4_ABOVE_W:
        return "4"
    return "3B" if power_w > CLASS_3B_ABOVE_W else "3R or lower"


def optical_density(power_w: float, limit_w_m2: float) -> float:
    """Return the density that brings the whole beam in a 7 mm pupil down to the limit: log10(P / A / MPE)."""
    return max(0.0, math.log10(power_w / PUPIL_AREA_M2 / limit_w_m2))


def whole_number(value: float) -> int:
    """Round up, as eyewear is marked; 4.0000000001 out of a logarithm is still 4."""
    return math.ceil(round(value, 9))


def scale_number(power_w: float, beam_mm: float = 1.0) -> int:
    """Return the EN 207 scale number n for mode D: LBn may be used up to 10^(n + 1) W/m^2 (315 to 1400 nm).

    On the standard's 1 mm beam. Its correction for other diameters depends on the filter's material and is not in
    here.
    """
    irradiance = power_w / (math.pi / 4.0 * (beam_mm * 1e-3) ** 2)
    return max(1, whole_number(math.log10(irradiance) - 1.0))


def hazard_distance(power_w: float, limit_w_m2: float, divergence_rad: float, exit_m: float = 0.0) -> float:
    """Return the nominal ocular hazard distance (NOHD), m, of a beam that spreads by the full angle `divergence_rad`.

    (sqrt(4 P / (pi MPE)) - a) / divergence, ANSI Z136.1 and IEC TR 60825-14; never below zero.
    """
    return max(0.0, (math.sqrt(4.0 * power_w / (math.pi * limit_w_m2)) - exit_m) / divergence_rad)


def focused_hazard_distance(power_w: float, limit_w_m2: float, focal_ratio: float) -> float:
    """Return the NOHD, m, behind the focus of a lens: full angle = beam width / focal length = 1 / `focal_ratio`."""
    return hazard_distance(power_w, limit_w_m2, 1.0 / focal_ratio)


def diffuse_distance(power_w: float, limit_w_m2: float, reflectance: float = 1.0) -> float:
    """Return the distance, m, at which a Lambertian spot seen square on falls to the limit."""
    return math.sqrt(reflectance * power_w / (math.pi * limit_w_m2))
