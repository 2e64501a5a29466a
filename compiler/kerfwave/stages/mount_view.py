"""What the guide says of feet and of hanging a body on a wall."""

from __future__ import annotations

from kerfwave.body.mounts import apart_mm, hung_below_mm
from kerfwave.stages.facts import Facts
from kerfwave.writers.assembly import Step
from kerfwave.writers.words import mm, mm_and_inches


def mounting_steps(facts: Facts) -> tuple[Step, ...]:
    """Return the steps that make a body stand or hang; none if neither is asked for."""
    body, asked = facts.built.body, facts.spec.enclosure
    found = []
    feet = sum(p.kind == "foot" for p in body.air)
    if feet:
        found.append(
            Step(
                "feet",
                "sound",
                "Feet",
                (
                    f"Wipe the underside clean and stick the {feet} feet over the small holes in layer 1, which they "
                    "hide. The holes end at the wood of layer 2: they lead nowhere.",
                    "Set it on a flat table: where it rocks, put a slip of card under one foot.",
                ),
            )
        )
    if any(p.kind == "keyhole" for p in body.air):
        top = max(y for _, y in body.skin) if body.rules.stack == "facing" else body.counts.height_mm
        load = next(check.text for check in facts.checks if check.id == "hang-load")
        found.append(
            Step(
                "hang",
                "sound",
                "Hang it",
                (
                    f"Drill two holes level with each other, {mm(apart_mm(body.air))} from middle to middle. The "
                    f"body's top comes to lie about {mm(hung_below_mm(body.air, body.rules.stack, top))} higher.",
                    f"Screws of {mm_and_inches(asked.hang_screw_mm or 0.0)}: leave the heads standing out until they "
                    "just slide behind the wood of the keyholes without play. Hang it, then pull it gently downwards.",
                    f"{load[0].upper()}{load[1:]}.",
                ),
                "Look for cables and pipes before you drill, wear eye protection, and hang nothing over a bed or a "
                "seat that you would not trust your head to. If in doubt, ask somebody who knows the wall.",
            )
        )
    return tuple(found)
