"""The impedance of a driver as a formula with its slopes, ready for least squares.

Voice coil: Re in series with L1 and with L2 that R2 lies across (the eddy currents in the pole piece); then the
motion, a parallel circuit of resonance fs whose resistance is Re Qms / Qes:

    Z = Re + j w L1 + j w L2 R2 / (R2 + j w L2) + Re (Qms / Qes) / (1 + j Qms (w / ws - ws / w))

Sources: R. H. Small, "Direct-Radiator Loudspeaker System Analysis", JAES 20 (1972) 383 (the motion); J. Vanderkooy,
"A Model of Loudspeaker Driver Impedance Incorporating Eddy Currents in the Pole Structure", JAES 37 (1989) 119 (why a
coil on iron is no plain inductance; the L2 || R2 pair is the usual lumped stand-in). Both from memory.

Everything is a function of logarithms, so that no parameter can go below zero.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from kerfwave.measure.impedance import Complex

COILS: dict[str, tuple[str, ...]] = {  # the simplest that explains the curve is taken
    "resistance": (),
    "inductance": ("l1",),
    "lossy": ("l2", "r2"),
    "semi-inductance": ("l1", "l2", "r2"),
}


def motion(omega: Any, log_re: float, log_fs: float, log_qms: float, log_qes: float) -> tuple[Complex, Complex]:
    """Return the motional impedance in ohm, shape (F,), and its slopes against the four logarithms, (F, 4)."""
    qms = np.exp(log_qms)
    x = np.asarray(omega, dtype=float) / (2.0 * np.pi * np.exp(log_fs))
    bell = 1.0 + 1j * qms * (x - 1.0 / x)
    value = np.exp(log_re + log_qms - log_qes) / bell
    slopes = np.stack([value, value * (1j * qms * (x + 1.0 / x) / bell), value / bell, -value], axis=-1)
    return np.asarray(value), slopes


def coil(omega: Any, logs: dict[str, float]) -> tuple[Complex, dict[str, Complex]]:
    """Return the coil's impedance above Re in ohm, shape (F,), and its slopes; `logs` holds ln of H and ohm."""
    omega = np.asarray(omega, dtype=float)
    total = np.zeros(omega.shape, dtype=complex)
    slopes: dict[str, Complex] = {}
    if "l1" in logs:
        slopes["l1"] = 1j * omega * np.exp(logs["l1"])
        total = total + slopes["l1"]
    if "l2" in logs:
        reactance, resistance = 1j * omega * np.exp(logs["l2"]), np.exp(logs["r2"])
        pair = reactance * resistance / (resistance + reactance)
        slopes["l2"] = pair * resistance / (resistance + reactance)
        slopes["r2"] = pair * reactance / (resistance + reactance)
        total = total + pair
    return total, slopes


def driver_impedance(
    frequency_hz: Any,
    *,
    re_ohm: float,
    fs_hz: float,
    qms: float,
    qes: float,
    le_h: float = 0.0,
    l2_h: float = 0.0,
    r2_ohm: float = 0.0,
) -> Complex:
    """Return the complex impedance in ohm of a driver in free air."""
    omega = 2.0 * np.pi * np.asarray(frequency_hz, dtype=float)
    moving, _ = motion(omega, *(float(np.log(v)) for v in (re_ohm, fs_hz, qms, qes)))
    pair = 1j * omega * l2_h * r2_ohm / (r2_ohm + 1j * omega * l2_h) if l2_h > 0.0 and r2_ohm > 0.0 else 0.0
    return np.asarray(re_ohm + 1j * omega * le_h + pair + moving)
