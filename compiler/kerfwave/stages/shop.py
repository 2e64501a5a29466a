"""What a report says of machine, recipe and stock; packages and test cuts say it alike."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from kerfwave.model.parts import Recipe
from kerfwave.model.spec import Spec

FORMAT = "kerfwave-report-1"


def shop(spec: Spec, recipe: Recipe, thickness_mm: float) -> dict[str, Any]:
    """Return the report's `machine`, `recipe`, `recipes` and `stock`; `thickness_mm` is the mean of the readings."""
    laser = spec.machine.laser
    return {
        "machine": {
            "name": spec.machine.name,
            "bed_mm": [spec.machine.bed_width_mm, spec.machine.bed_height_mm],
            "optical_power_w": laser.optical_power_w,
            "wavelength_nm": laser.wavelength_nm,
            "program": asdict(spec.machine),
        },
        "recipe": asdict(recipe),
        "recipes": [asdict(recipe)],
        "stock": {
            "name": spec.stock.name,
            "material": spec.stock.material,
            "glue": spec.stock.glue,
            "nominal_mm": spec.stock.thickness_mm,
            "measured_mm": thickness_mm,
        },
    }
