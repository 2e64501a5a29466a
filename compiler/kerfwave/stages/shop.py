"""What a report says of machine, recipe and stock; packages and test cuts say it alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from kerfwave.model.kinds import Kind
from kerfwave.model.parts import Recipe
from kerfwave.model.spec import Spec

FORMAT = "kerfwave-report-1"


def shop(
    spec: Spec,
    recipes: tuple[Recipe, ...],
    kinds: tuple[Kind, ...],
    coupons: Mapping[str, tuple[str, ...]] | None = None,
) -> dict[str, Any]:
    """Return the report's `machine`, `recipe`, `recipes` and `stock`; the first kind of sheet is the main one.

    `coupons` are the names of the test cuts by the name of the kind.
    """
    laser, main = spec.machine.laser, kinds[0]
    by_kind = [
        {
            "name": kind.stock.name,
            "nominal_mm": kind.stock.thickness_mm,
            "measured_mm": kind.thickness_mm,
            "readings_mm": list(kind.stock.measured_mm),
            "coupons": list((coupons or {}).get(kind.stock.name, ())),
        }
        for kind in kinds
    ]
    return {
        "machine": {
            "name": spec.machine.name,
            "bed_mm": [spec.machine.bed_width_mm, spec.machine.bed_height_mm],
            "optical_power_w": laser.optical_power_w,
            "wavelength_nm": laser.wavelength_nm,
            "program": asdict(spec.machine),
        },
        "recipe": asdict(recipes[0]),
        "recipes": [asdict(recipe) for recipe in recipes],
        "stock": {
            "name": spec.stock.name,
            "material": spec.stock.material,
            "glue": spec.stock.glue,
            "nominal_mm": main.stock.thickness_mm,
            "measured_mm": main.thickness_mm,
            **({"kinds": by_kind} if len(kinds) > 1 or main.stock.name != spec.stock.name else {}),
        },
    }
