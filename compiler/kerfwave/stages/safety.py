"""Safety: what makes this very job safe, computed from it."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave import safety
from kerfwave.model.parts import Recipe, SafetyLine, SheetProgram
from kerfwave.model.spec import Listening, Machine, Room, Stock


@dataclass(frozen=True, slots=True)
class Assessed:
    """The safety list and what it comes to."""

    lines: tuple[SafetyLine, ...]
    outcome: str  # "stop", "fix-first" or "proceed"


def run(
    programs: tuple[SheetProgram, ...],
    recipe: Recipe,
    level_db: float,
    stock: Stock,
    machine: Machine,
    room: Room,
    listening: Listening,
    volts: float,
    power_w: float,
    re_ohm: float,
) -> Assessed:
    """Run the stage."""
    lines = safety.assess(
        safety.Job(
            stock=stock,
            machine=machine,
            recipe=recipe,
            room=room,
            listening=listening,
            # Later passes run in a kerf that is already there.
            cut_length_mm=sum(c.length_mm for p in programs for c in p.contours if c.kind != "mark") / recipe.passes,
            cut_time_s=sum(p.time_s for p in programs),
            level_db_at_listener=level_db,
            drive_volts=volts,
            driver_power_w=power_w,
            driver_re_ohm=re_ohm,
        )
    )
    return Assessed(lines, safety.outcome(lines))
