"""The whole small-signal set with what was stated and what follows from what, for people to read.

Relations: R. H. Small, "Direct-Radiator Loudspeaker System Analysis", JAES 20 (1972) 383. Plain `math` only.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from kerfwave.acoustics.driver import complete
from kerfwave.model.acoustic import Air, DriverParameters
from kerfwave.model.spec import Driver
from kerfwave.numfmt import fixed

SAME = 5e-4  # relative: a stated value this near the one used is the one used
REFERENCE_PA = 20e-6
REFERENCE_VOLTS = math.sqrt(8.0)  # 2.83 V, 1 W into 8 ohm


class Parameter(NamedTuple):
    """One line of the list: the usual symbol, the value used, its unit (empty for ratios), where it comes from."""

    name: str
    value: float
    unit: str
    how: str  # "stated", or "from ..."


def derived(driver: Driver, air: Air) -> tuple[Parameter, ...]:
    """Return every small-signal parameter, the reference efficiency and the sensitivities.

    A stated value that others overrule (see `complete`) is said beside the one that is used.

    Raises:
        ValueError: as `complete`.
    """
    full = complete(driver, air)
    mass = (
        "stated"
        if driver.mms_g is not None
        else "from fs and Cms"
        if driver.cms_mm_n is not None
        else "from fs, Sd and Vas"
        if driver.vas_l is not None
        else "from Bl, Re, fs and Qes"
    )
    spring = "from Sd and Vas" if driver.mms_g is None and driver.vas_l is not None else "from fs and Mms"
    stated_q = [name for name, value in (("Qts", driver.qts), ("Qms", driver.qms), ("Qes", driver.qes)) if value]
    electrical = "from Qts and Qms" if {"Qts", "Qms"} <= {*stated_q} else "from Bl, Re, fs and Mms"
    rows = [
        Parameter("fs", full.fs_hz, "Hz", "stated"),
        Parameter("Re", full.re_ohm, "ohm", "stated"),
        Parameter("Sd", full.sd_m2 * 1e4, "cm²", "stated"),
        _row("Qms", full.qms, "", driver.qms, "from Qts and Qes"),
        _row("Qes", full.qes, "", driver.qes, electrical),
        _row("Qts", full.qts, "", driver.qts, "from Qms and Qes"),
        _row("Mms", full.mms_kg * 1e3, "g", driver.mms_g, mass),
        _row("Cms", full.cms_m_n * 1e3, "mm/N", driver.cms_mm_n, spring),
        _row("Vas", full.vas_m3 * 1e3, "l", driver.vas_l, "from Cms and Sd"),
        Parameter("Rms", full.rms_kg_s, "kg/s", "from fs, Mms and Qms"),
        _row("Bl", full.bl_tm, "T·m", driver.bl_tm, "from fs, Mms, Re and Qes"),
        Parameter("Le", full.le_h * 1e3, "mH", "stated" if driver.le_mh else "not stated"),
    ]
    if full.l2_h:
        rows += [
            Parameter("L2", full.l2_h * 1e3, "mH", "stated"),
            Parameter("R2", full.r2_ohm, "ohm", "stated"),
        ]
    efficiency = reference_efficiency(full, air)
    per_watt = sensitivity_db(efficiency, air)
    per_volt = per_watt + 10.0 * math.log10(REFERENCE_VOLTS**2 / full.re_ohm)
    return (
        *rows,
        Parameter("η0", 100.0 * efficiency, "%", "from fs, Vas and Qes"),
        Parameter("level at 1 W, 1 m, half space", per_watt, "dB", "from η0"),
        Parameter("level at 2.83 V, 1 m, half space", per_volt, "dB", "from η0 and Re"),
    )


def reference_efficiency(driver: DriverParameters, air: Air) -> float:
    """Return eta0 = 4 pi^2 fs^3 Vas / (c^3 Qes): acoustic power over what goes into Re, in half space."""
    return 4.0 * math.pi**2 * driver.fs_hz**3 * driver.vas_m3 / (air.speed**3 * driver.qes)


def sensitivity_db(efficiency: float, air: Air) -> float:
    """Return the level at 1 m in half space of 1 W with this efficiency: 10 lg(eta0 density c / (2 pi)) re 20 uPa."""
    return 10.0 * math.log10(efficiency * air.density * air.speed / (2.0 * math.pi) / REFERENCE_PA**2)


def _row(name: str, value: float, unit: str, stated: float | None, how: str) -> Parameter:
    if stated is None:
        return Parameter(name, value, unit, how)
    if abs(stated / value - 1.0) <= SAME:
        return Parameter(name, value, unit, "stated")
    digits = max(0, 3 - math.floor(math.log10(stated)))
    return Parameter(name, value, unit, f"{how}; {fixed(stated, digits)}{f' {unit}' if unit else ''} was stated")
