"""Shaping: the filters that a person may put before the amplifier, if the spec has a place for them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwave.acoustics.shaping import Shaped, ShapingLimits, shape
from kerfwave.model.acoustic import Response
from kerfwave.model.parts import Check
from kerfwave.model.spec import Drive, Shaping, Target


@dataclass(frozen=True, slots=True)
class ShapedSound:
    """The filters and what they do, or None where none are asked for."""

    shaped: Shaped | None
    checks: tuple[Check, ...]


def run(response: Response, shaping: Shaping, target: Target, drive: Drive, xmax_mm: float) -> ShapedSound:
    """Run the stage."""
    if shaping.most_filters == 0:
        return ShapedSound(None, ())
    limit = target.excursion_mm or xmax_mm
    shaped = shape(
        np.array(response.frequency_hz),
        np.array(response.spl_db),
        np.array(response.excursion_peak_mm),
        ShapingLimits(
            band_from_hz=target.band_from_hz,
            band_to_hz=target.band_to_hz,
            relief_from_hz=target.relief_from_hz,
            excursion_mm=limit,
            volts=drive.volts,
            most_volts=drive.most_volts,
            most_boost_db=shaping.most_boost_db,
            most_filters=shaping.most_filters,
            rate_hz=shaping.sample_rate_hz,
        ),
    )
    checks = [
        Check(
            "shaped-excursion",
            "ok" if shaped.most_excursion_mm <= limit else "warn",
            f"with the filters the cone reaches {shaped.most_excursion_mm:.2f} mm peak at most, from 20 Hz up; "
            f"limit {limit:g} mm",
            round(shaped.most_excursion_mm, 3),
            limit,
        )
    ]
    if drive.most_volts is not None:
        checks.append(
            Check(
                "shaped-volts",
                "ok" if shaped.most_volts <= drive.most_volts * 1.001 else "warn",
                f"the filters ask for up to {shaped.most_volts:.1f} V r.m.s.; the amplifier gives "
                f"{drive.most_volts:g} V",
                round(shaped.most_volts, 2),
                drive.most_volts,
            )
        )
    return ShapedSound(shaped, tuple(checks))
