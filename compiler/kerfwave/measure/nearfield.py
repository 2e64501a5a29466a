"""Cone and mouth, each measured from close by, made into the response far away.

Close to the middle of a small piston of radius a the pressure is that of the far field, but 2 r / a times as high
(half space). So far away the near fields of several openings add up by their radii, that is by the roots of their
areas, with their phases: D. B. Keele, "Low-Frequency Loudspeaker Assessment by Nearfield Sound-Pressure Measurement",
J. Audio Eng. Soc. 22 (1974) 154 (from memory). Derived again: near p = j omega rho a u (low frequencies), far
p = j omega rho S u / (2 pi r) with S = pi a^2; their ratio is a / (2 r), and a / (4 r) into the full space. It holds
while the larger opening is small beside the wave: up to k a = 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwave.measure.errors import SettingError
from kerfwave.measure.reading import MeasuredResponse

SPEED_M_S = 343.0


@dataclass(frozen=True, slots=True)
class NearFieldSum:
    """What cone and mouth make together; the response ends at `highest_hz`."""

    response: MeasuredResponse
    cone_db: tuple[float, ...]  # each alone, as far away
    mouth_db: tuple[float, ...]
    highest_hz: float


def sum_near_fields(
    cone: MeasuredResponse,
    mouth: MeasuredResponse,
    *,
    cone_area_m2: float,
    mouth_area_m2: float,
    distance_m: float = 1.0,
    space: str = "half",
) -> NearFieldSum:
    """Return the sum of two near fields, taken with one gain and with phases that refer to one time.

    Levels are at `distance_m` where both are absolute, else 0 dB means what it means for the cone.

    Raises:
        SettingError: without phases, areas above 0, or a common range of an octave; when only one is absolute.
    """
    if cone.phase_deg is None or mouth.phase_deg is None:
        raise SettingError("near fields add up by their phases, which one of them lacks")
    if cone.absolute != mouth.absolute:
        raise SettingError("one near field is calibrated, and the other is not")
    if not (cone_area_m2 > 0 and mouth_area_m2 > 0 and distance_m > 0):
        raise SettingError("areas and distance are above 0")
    radius = math.sqrt(max(cone_area_m2, mouth_area_m2) / math.pi)
    highest = SPEED_M_S / (2 * math.pi * radius)
    low = max(cone.frequency_hz[0], mouth.frequency_hz[0])
    high = min(cone.frequency_hz[-1], mouth.frequency_hz[-1], highest)
    if high < 2 * low:
        raise SettingError(
            f"only {low:.0f} to {high:.0f} Hz is common to both near fields and low enough for the rule (up to "
            f"{highest:.0f} Hz)"
        )
    f = np.asarray([v for v in cone.frequency_hz if low <= v <= high])
    far = 1.0
    if cone.absolute:
        far = math.sqrt(cone_area_m2 / math.pi) / ((2.0 if space == "half" else 4.0) * distance_m)
    front = far * _pressure(cone, f)
    back = far * math.sqrt(mouth_area_m2 / cone_area_m2) * _pressure(mouth, f)
    both = front + back
    snr = None
    if cone.snr_db is not None and mouth.snr_db is not None:
        snr = tuple(
            float(v)
            for v in np.minimum(
                np.interp(f, cone.frequency_hz, cone.snr_db), np.interp(f, mouth.frequency_hz, mouth.snr_db)
            )
        )
    response = MeasuredResponse(
        tuple(f.tolist()), _db(both), tuple(np.degrees(np.angle(both)).tolist()), snr, cone.absolute
    )
    return NearFieldSum(response, _db(front), _db(back), highest)


def _pressure(measured: MeasuredResponse, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Return complex pressures between the points: level and unwrapped phase straight over ln f."""
    x, at = np.log(measured.frequency_hz), np.log(frequency_hz)
    level = np.interp(at, x, measured.level_db)
    phase = np.interp(at, x, np.unwrap(np.radians(measured.phase_deg or ())))
    return np.asarray(10.0 ** (level / 20.0) * np.exp(1j * phase))


def _db(pressure: NDArray[np.complex128]) -> tuple[float, ...]:
    return tuple((20 * np.log10(np.maximum(np.abs(pressure), 1e-15))).tolist())
