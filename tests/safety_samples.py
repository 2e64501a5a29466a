"""A job to assess in tests: an invented open-frame cutter in a small room, with nothing left unsaid."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from kerfwave.model.parts import Recipe
from kerfwave.model.spec import Extraction, Eyewear, Laser, Listening, Machine, Room, SheetStock, Stock
from kerfwave.safety import Job

STOCK = Stock("ply 6", "birch-plywood", "uf", 6.35, (6.3, 6.4, 6.35), 680.0, (SheetStock(400.0, 400.0, 4),))
LASER = Laser(optical_power_w=5.5, wavelength_nm=450.0, spot_mm=0.08, focal_ratio=10.0)
MACHINE = Machine("open frame", LASER, 400.0, 400.0, 6000.0, 6000.0, 500.0, 1000.0, bed_surface="matt-steel")
RECIPE = Recipe("ply 6", 100.0, 250.0, 8, 0.2, True, True, "Measured in a test.", 10.4)
EXTRACTION = Extraction(250.0, "enclosure", True, open_area_cm2=200.0, duct_mm=100.0, duct_length_m=2.0)
EYEWEAR = Eyewear(440.0, 460.0, 6.0, 6)
ROOM = Room(4.0, 3.0, 2.5, 0.5, EXTRACTION, 9.0, EYEWEAR, "abc-powder", True, False)
JOB = Job(STOCK, MACHINE, RECIPE, ROOM, Listening(), 30000.0, 57600.0, 82.0, 2.83, 20.0, 6.4)


def job(**changes: Any) -> Job:
    """Change fields of the job, or of the part of it that has them: `job(optical_power_w=10.0, capture="nozzle")`."""
    made = JOB
    for name, value in changes.items():
        made = _changed(made, name, value)
    return made


def _changed(made: Job, name: str, value: Any) -> Job:
    if hasattr(made, name) and name != "thickness_mm":
        return replace(made, **{name: value})
    for part in ("room", "stock", "recipe"):
        if hasattr(getattr(made, part), name):
            return replace(made, **{part: replace(getattr(made, part), **{name: value})})
    if hasattr(made.machine.laser, name):
        laser = replace(made.machine.laser, **{name: value})
        return replace(made, machine=replace(made.machine, laser=laser))
    if hasattr(made.machine, name):
        return replace(made, machine=replace(made.machine, **{name: value}))
    for part in ("extraction", "eyewear"):
        inner = getattr(made.room, part)
        if inner is not None and hasattr(inner, name):
            return replace(made, room=replace(made.room, **{part: replace(inner, **{name: value})}))
    raise AttributeError(name)
