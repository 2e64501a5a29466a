"""The whole list, in its fixed order, and the one word it comes to."""

from __future__ import annotations

from collections.abc import Iterable

from kerfwave.model.parts import SafetyLine
from kerfwave.safety import sources
from kerfwave.safety.bench import electric_lines, handling_lines
from kerfwave.safety.eyes import eye_lines
from kerfwave.safety.fire import fire_lines
from kerfwave.safety.fume import fume_lines
from kerfwave.safety.job import Job
from kerfwave.safety.lines import line
from kerfwave.safety.material_lines import material_lines
from kerfwave.safety.sound import sound_lines


def assess(job: Job) -> tuple[SafetyLine, ...]:
    """Return the safety list of a job: by group (see `lines.GROUPS`), ids stable and each once.

    Levels: "stop" (not this job, not like this), "fix-first" (mend or find out before the beam comes on), "duty" (to be
    done every time) and "note". Same job, same lines.
    """
    return (
        *_general(),
        *material_lines(job),
        *eye_lines(job),
        *fire_lines(job),
        *fume_lines(job),
        *sound_lines(job),
        *electric_lines(job),
        *handling_lines(),
    )


def outcome(lines: Iterable[SafetyLine]) -> str:
    """Return what the list comes to: "stop", "fix-first", or "proceed" (with the duties listed).

    Raises:
        ValueError: for no lines at all, which would be an unknown that passes.
    """
    levels = {entry.level for entry in lines}
    if not levels:
        raise ValueError("no safety lines: nothing was assessed")
    if "stop" in levels:
        return "stop"
    return "fix-first" if "fix-first" in levels else "proceed"


def _general() -> tuple[SafetyLine, ...]:
    return (
        line(
            "general-screening",
            "duty",
            "This list is a screening estimate from what the spec says. It certifies no machine, room or person. "
            "Local law, building and fire code, your landlord and insurer, licensed trades, the laser safety "
            "officer where there is one, and the machine maker's manual come first; where they ask for more, do "
            "more.",
            source=sources.LASER_POLICY,
            status="published",
        ),
        line(
            "general-status",
            "note",
            "Each line says what its number rests on: measured, computed, assumed, published, or unknown. What is "
            "unknown never passes. In doubt about the air, ask an occupational hygienist; about the light, a laser "
            "safety officer.",
            source=sources.LASER_POLICY,
            status="published",
        ),
        line(
            "general-people",
            "duty",
            "Nobody under age or untrained runs the laser alone. Tell the others in the house; keep children and "
            "pets out.",
            source=sources.LASER_POLICY,
            status="published",
        ),
    )
