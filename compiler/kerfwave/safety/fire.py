"""The lines on fire: who watches, for how long, what stands ready."""

from __future__ import annotations

from kerfwave.model.parts import SafetyLine
from kerfwave.safety import sources
from kerfwave.safety.job import Job
from kerfwave.safety.lines import line, number

WATCH_MIN = 30.0
LAST_LOOK_MIN = 60.0

_EXTINGUISHERS = {
    "water": ("duty", "Water cools wood embers well. Pull the plug first: never water on live equipment."),
    "foam": ("duty", "Foam cools wood embers well. Pull the plug first: never foam on live equipment."),
    "abc-powder": (
        "duty",
        "ABC powder is right for wood. It ruins optics: use it all the same when flames do not die.",
    ),
    "co2": (
        "fix-first",
        "Carbon dioxide spares the optics but leaves embers alive in wood (class A): have a water, foam or ABC unit "
        "too, and say so in the spec.",
    ),
    "none": ("fix-first", "No extinguisher: have a water, foam or ABC powder unit at the door before you start."),
}


def fire_lines(job: Job) -> tuple[SafetyLine, ...]:
    """Return the lines on fire. An unknown extinguisher, alarm or bed is to be found out first."""
    hours = job.cut_time_s / 3600.0
    return (
        line(
            "fire-attended",
            "duty",
            "Never leave it running alone: somebody who knows the machine stays in the room and watches, all "
            f"{number(hours)} h of it. Split the work into stretches that you can watch awake.",
            source=sources.LASER_POLICY,
            status="computed",
            value=hours,
            unit="h",
            formula="time of all programs, passes and travel",
        ),
        line(
            "fire-watch",
            "duty",
            "After the last cut stay 30 min, and look again at 60 min; wood can smoulder unseen for hours.",
            source=sources.FIRE_WATCH,
            status="assumed",
            value=WATCH_MIN,
            unit="min",
            limit=LAST_LOOK_MIN,
            formula="watch 30 min, last look at 60 min",
        ),
        _extinguisher(job.room.extinguisher),
        _alarm(job.room.smoke_alarm),
        _bed(job.machine.bed_surface),
        _air_assist(job.recipe.air_assist),
        line(
            "fire-clear",
            "duty",
            "Clear paper, curtains, solvents and offcuts from around the machine: hot-work rules speak of 10.7 m "
            "(35 ft), so at the least nothing within reach of a flame. Fix small pieces so that they cannot tip "
            "into the beam.",
            source=sources.HOT_WORK,
            status="published",
            value=10.7,
            unit="m",
        ),
        line(
            "fire-scraps",
            "duty",
            "Scraps and sweepings go into a lidded metal can, outside, and filters and ducts are emptied of tar and "
            "dust: both are fuel.",
            source=sources.MEMORY,
            status="assumed",
        ),
        line(
            "fire-drill",
            "duty",
            "If it burns: cut the power, stop air assist and exhaust, put it out, cool it and look for embers. Not "
            "out at once: leave, shut the door, call the fire brigade. Know the way out before you start.",
            source=f"{sources.EXTINGUISHER}; order of the steps after the exhaust from memory",
            status="published",
        ),
        line(
            "fire-ignition",
            "note",
            "Wood gives off gas that a flame lights from about 225 °C on, and its char smoulders; the spot is far "
            "hotter.",
            source=sources.IGNITION,
            status="published",
            value=225.0,
            unit="°C",
        ),
    )


def _extinguisher(kind: str) -> SafetyLine:
    known = kind in _EXTINGUISHERS
    level, text = _EXTINGUISHERS.get(
        kind,
        (
            "fix-first",
            "Which extinguisher is at hand is not known: look, and say it in the spec. Wood wants water, foam or "
            "ABC powder.",
        ),
    )
    return line(
        "fire-extinguisher", level, text, source=sources.EXTINGUISHER, status="published" if known else "unknown"
    )


def _alarm(fitted: bool | None) -> SafetyLine:
    if fitted:
        return line(
            "fire-alarm",
            "duty",
            "A smoke alarm is in the room: press its test button before you start.",
            source=sources.MEMORY,
            status="assumed",
        )
    text = (
        "Whether a smoke alarm is in the room is not known: look, and say it in the spec."
        if fitted is None
        else "No smoke alarm in the room: fit one before you start."
    )
    status = "unknown" if fitted is None else "assumed"
    return line("fire-alarm", "fix-first", text, source=sources.MEMORY, status=status)


def _bed(surface: str) -> SafetyLine:
    if surface in ("matt-steel", "bright-metal", "ceramic"):
        text = "The bed does not burn, as the machine file says. Keep it and the tray below free of scraps and soot."
        return line("fire-bed", "duty", text, source=sources.MEMORY, status="assumed")
    text = (
        "A wooden bed catches fire below the cut: put a non-combustible support and base under the work."
        if surface == "wood"
        else "Whether the bed can burn is not known: look, and say it in the spec. It has to be non-combustible."
    )
    status = "assumed" if surface == "wood" else "unknown"
    return line("fire-bed", "fix-first", text, source=sources.MEMORY, status=status)


def _air_assist(on: bool) -> SafetyLine:
    text = (
        "Air assist is on, which keeps flames small: check the pump before each sheet, and stop when it stops."
        if on
        else "No air assist: slow passes without it are the likeliest to flame. Look at the cut, not at a screen, "
        "all the time."
    )
    return line("fire-air-assist", "duty", text, source=sources.MEMORY, status="assumed")
