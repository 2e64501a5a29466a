"""A recipe with everything that only the cutting room wants: order of passes, focus, bridges, taper of the cut."""

from __future__ import annotations

from dataclasses import dataclass, fields

from kerfwave.model.parts import Recipe
from kerfwave.model.spec import Machine


@dataclass(frozen=True, slots=True)
class Settings(Recipe):
    """How to cut one stock on this machine, in full. Lengths in mm."""

    kerf_top_mm: float | None = None
    kerf_bottom_mm: float | None = None
    pass_order: str = "contour"  # or "sheet"
    focus_offset_mm: float = 0.0  # of the first pass, below the upper face
    focus_step_mm: float = 0.0  # deeper in every further pass
    bridges: str | None = None  # "never", "when-needed"; None: as the machine says
    score_power_percent: float | None = None  # None: an estimate (`scored.score_settings`)
    score_feed_mm_min: float | None = None
    notes: str = ""


def settings_of(recipe: Recipe) -> Settings:
    """Return `recipe` itself if it says everything, else with the defaults of what it does not say."""
    if isinstance(recipe, Settings):
        return recipe
    return Settings(**{field.name: getattr(recipe, field.name) for field in fields(Recipe)})


def bridges_wanted(said: str | None, machine: Machine) -> bool:
    """Return whether pieces that could tip or fall keep bridges: what the recipe `said`, else the machine's word."""
    return (said or machine.bridges) == "when-needed"


def focus_depths_mm(recipe: Recipe, machine: Machine, passes: int) -> tuple[float, ...]:
    """Return for each pass how deep below the upper face the focus lies; empty if a program does not move the head.

    A machine that can move its head is told even the first depth; where that is 0 in every pass, nothing moves.
    """
    said = settings_of(recipe)
    if not machine.focus_axis or (said.focus_offset_mm == 0 and said.focus_step_mm == 0):
        return ()
    return tuple(round(said.focus_offset_mm + said.focus_step_mm * k, 3) + 0.0 for k in range(passes))
