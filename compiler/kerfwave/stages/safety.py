"""Safety: what makes this very job safe, computed from it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from kerfwave import safety
from kerfwave.model.kinds import Kind
from kerfwave.model.parts import SafetyLine, SheetProgram
from kerfwave.model.spec import Listening, Machine, Room
from kerfwave.stages.recipe import Recipes


@dataclass(frozen=True, slots=True)
class Assessed:
    """The safety list and what it comes to."""

    lines: tuple[SafetyLine, ...]
    outcome: str  # "stop", "fix-first" or "proceed"


def run(
    programs: tuple[SheetProgram, ...],
    recipes: Recipes,
    level_db: float,
    kinds: tuple[Kind, ...],
    machine: Machine,
    room: Room,
    listening: Listening,
    volts: float,
    power_w: float,
    re_ohm: float,
) -> Assessed:
    """Run the stage.

    Of several kinds of sheet the job is counted with the thickest, the widest kerf and the greatest energy: no more
    fume or smoke comes of it than that, and what is not measured for one of them is not measured.
    """
    used = {program.stock for program in programs}
    thickest = max((kind for kind in kinds if kind.stock.name in used), key=lambda kind: kind.thickness_mm)
    known = [recipe for recipe in recipes.kinds if recipe.stock in used]
    recipe = replace(
        recipes.of(thickest.stock.name),
        kerf_mm=max(recipe.kerf_mm for recipe in known),
        energy_j_mm2=max(recipe.energy_j_mm2 for recipe in known),
        verified=all(recipe.verified for recipe in known),
    )
    lines = safety.assess(
        safety.Job(
            stock=thickest.stock,
            machine=machine,
            recipe=recipe,
            room=room,
            listening=listening,
            # Later passes run in a kerf that is already there.
            cut_length_mm=sum(_once_mm(p, recipes.of(p.stock).passes) for p in programs),
            cut_time_s=sum(p.time_s for p in programs),
            level_db_at_listener=level_db,
            drive_volts=volts,
            driver_power_w=power_w,
            driver_re_ohm=re_ohm,
        )
    )
    return Assessed(lines, safety.outcome(lines))


def _once_mm(program: SheetProgram, passes: int) -> float:
    return sum(c.length_mm for c in program.contours if c.kind != "mark") / passes
