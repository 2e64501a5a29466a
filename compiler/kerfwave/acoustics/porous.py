"""Loose fibre in a duct or a chamber as an equivalent fluid."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwave.model.acoustic import Air


def filled(flow_resistivity: Any) -> NDArray[np.bool_]:
    """Return where there is fibre.

    Raises:
        ValueError: for a flow resistivity that is negative or no number.
    """
    fibre = np.asarray(flow_resistivity, dtype=float)
    if not (fibre >= 0.0).all():
        worst = float(fibre[~(fibre >= 0.0)].flat[0])
        raise ValueError(f"a flow resistivity is {worst:g} Pa s/m^2; it must be 0 (no fibre) or more")
    found: NDArray[np.bool_] = fibre > 0.0
    return found


def miki(omega: Any, flow_resistivity: Any, air: Air) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return the characteristic impedance (Pa s/m) and the wavenumber (rad/m) of a fibrous medium.

    Args:
        omega: angular frequency, rad/s.
        flow_resistivity: Pa s/m^2, above 0; broadcast against `omega`.
        air: the air between the fibres.

    The regression was made for f / flow_resistivity from 0.01 to 1 m^3/kg. Below about 0.001 its bulk modulus has
    a loss angle of the wrong sign by up to 1.3 degrees, which the loss of the moving fluid outweighs in any duct.

    Source: Y. Miki, "Acoustical properties of porous materials: modifications of Delany-Bazley models",
    J. Acoust. Soc. Jpn (E) 11 (1990) 19.
    """
    y = np.asarray(omega) / (2.0 * np.pi) / np.asarray(flow_resistivity)
    log_y = np.log(y)
    of_impedance = np.exp(-0.632 * log_y)
    of_wavenumber = np.exp(-0.618 * log_y)
    impedance = air.density * air.speed * (1.0 + (0.0699 - 0.1071j) * of_impedance)
    wavenumber = np.asarray(omega) / air.speed * (1.0 + (0.1093 - 0.1597j) * of_wavenumber)
    return impedance, wavenumber
