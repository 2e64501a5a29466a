"""The lines on electricity and on what the hands do: short, and mostly the same for every job."""

from __future__ import annotations

import math

from kerfwave.model.parts import SafetyLine
from kerfwave.safety import sources
from kerfwave.safety.job import Job
from kerfwave.safety.lines import line, number

TOUCH_V = 50.0
_HANDLING = (  # what it is on, the text, the source and how well it is known, the amount in it
    (
        "implants",
        "Loudspeaker magnets stay 15 cm (6 in) or more from pacemakers and other implants, in the box and in the hand.",
        sources.IMPLANT,
        "published",
        (15.0, "cm"),
    ),
    (
        "magnets",
        "Magnets snap together, pinch and shatter: gloves and goggles, keep them from children, from tools and "
        "from the laser's bed.",
        sources.MAGNETS,
        "published",
        None,
    ),
    (
        "hot-glue",
        "A hot-glue gun runs at up to 193 °C (380 °F), and glue burns: on skin, cool with water for 10 min and "
        "do not pull it off.",
        sources.HOT_GLUE,
        "published",
        (193.0, "°C"),
    ),
    (
        "clamps",
        "Wood glue wants its maker's clamping time, often 30 to 60 min and a day to full strength. Pad the "
        "clamps, keep fingers out of the closing gap, mind the weight of the stack.",
        sources.MEMORY,
        "assumed",
        (60.0, "min"),
    ),
    (
        "knives",
        "Sharp blade, cut away from yourself, a cut-resistant glove on the holding hand, cap on when it lies down.",
        sources.MEMORY,
        "assumed",
        None,
    ),
    (
        "lead",
        "Solder may hold lead: no food at the bench, wash your hands, gather spills and clippings, keep "
        "children away. Lead-free solder spares you that.",
        sources.LEAD,
        "published",
        None,
    ),
    (
        "flux",
        "Flux fume of rosin can cause asthma: draw it off at the tip, keep your head out of it, or use "
        "rosin-free flux. The iron burns and lights paper: back in its stand.",
        sources.ROSIN,
        "assumed",
        None,
    ),
    (
        "dust",
        "Sanding char and wood makes dust that harms lungs and can cause cancer: draw it off, wear a fine-dust "
        "mask, wipe damp. Most in the air over a working day: 1 mg/m³.",
        sources.DUST,
        "published",
        (1.0, "mg/m³"),
    ),
    (
        "fresh-parts",
        "Fresh-cut pieces go on smelling: air them before you glue, gloves against soot, and wash your hands.",
        sources.MEMORY,
        "assumed",
        None,
    ),
)


def electric_lines(job: Job) -> tuple[SafetyLine, ...]:
    """Return the lines on the driver's power, the voltage at its terminals, and the mains."""
    volts, ohms, rated = job.drive_volts, job.driver_re_ohm, job.driver_power_w
    power = volts**2 / ohms
    hot = power > rated
    touch = volts > TOUCH_V
    return (
        line(
            "electric-driver",
            "fix-first" if hot else "duty",
            f"At {number(volts)} V the driver takes at most {number(power)} W, and is rated for {number(rated)} W. "
            + (
                "Too much: lower the drive, or the voice coil burns."
                if hot
                else "Keep the amplifier's volume below that; bass boost counts."
            ),
            source=sources.JOULE,
            status="computed",
            value=power,
            unit="W",
            limit=rated,
            formula=f"P = V² / Re; V = {number(volts)} V r.m.s., Re = {number(ohms)} ohm",
        ),
        line(
            "electric-touch",
            "fix-first" if touch else "note",
            f"Between the terminals stand up to {number(volts)} V r.m.s. ({number(volts * math.sqrt(2))} V peak)"
            + (": more than may be touched. Cover them." if touch else ", low enough to touch in dry conditions."),
            source=sources.TOUCH,
            status="computed",
            value=volts,
            unit="V",
            limit=TOUCH_V,
            formula="the asked drive; limit for alternating voltage",
        ),
        line(
            "electric-amplifier",
            "duty",
            "Use a certified amplifier in its housing, fed by a certified low-voltage supply. Mains wiring is for a "
            "licensed electrician.",
            source=sources.MEMORY,
            status="assumed",
        ),
        line(
            "electric-mains",
            "duty",
            "Plug the laser, pump and fan into a circuit with a residual-current device (GFCI) of 30 mA or less, "
            "and press its test button. Pull the plug, not just the switch, before a cover comes off, and wait for "
            "the capacitors.",
            source=sources.RCD,
            status="published",
            value=30.0,
            unit="mA",
        ),
    )


def handling_lines() -> tuple[SafetyLine, ...]:
    """Return the lines on tools and substances at the bench."""
    return tuple(
        line(
            f"handling-{name}",
            "duty",
            text,
            source=source,
            status=status,
            value=None if amount is None else amount[0],
            unit="" if amount is None else amount[1],
        )
        for name, text, source, status, amount in _HANDLING
    )
