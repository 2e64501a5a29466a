"""The lines on the way out and the way in: duct, make-up air, and heaters that share the air."""

from __future__ import annotations

from kerfwave.model.parts import SafetyLine
from kerfwave.model.spec import Extraction
from kerfwave.safety import airflow, sources
from kerfwave.safety.job import Job
from kerfwave.safety.lines import line, number
from kerfwave.safety.words import cubic_metres

LEAST_M_S = 5.0
TARGET_M_S = 10.0
MAKE_UP_PA = 5.0


def duct_lines(extraction: Extraction) -> tuple[SafetyLine, ...]:
    """Return velocity and pressure in the duct; what is not stated is to be measured first."""
    check = line(
        "fume-flow",
        "duty",
        f"The {cubic_metres(extraction.flow_m3_h)} are as the spec says. A fan's label speaks of free air: measure "
        "at the end of the duct, filters in, and write that down.",
        source=sources.PRACTICE,
        status="assumed",
        value=extraction.flow_m3_h,
        unit="m³/h",
    )
    if not extraction.duct_mm:
        ask = line(
            "fume-duct",
            "fix-first",
            "The width of the duct is not stated, so whether smoke settles in it is not known: measure it, and say "
            "it in the spec.",
            source=sources.DUCT,
            status="unknown",
            unit="m/s",
            limit=LEAST_M_S,
        )
        return (check, ask)
    width, flow = extraction.duct_mm * 1e-3, extraction.flow_m3_h / 3600.0
    velocity = airflow.duct_velocity(flow, width)
    size = f"{number(extraction.duct_mm)} mm ({number(extraction.duct_mm / 25.4)} in)"
    if velocity < LEAST_M_S:
        level, words = "fix-first", "too slow: tar and dust settle and become fuel. Take a narrower duct or more air"
    elif velocity < TARGET_M_S:
        level, words = (
            "duty",
            f"enough to carry smoke, short of the {number(TARGET_M_S)} m/s to aim at: look into it often",
        )
    else:
        level, words = "duty", "fast enough to keep it clean; look into it all the same"
    speed = line(
        "fume-duct",
        level,
        f"In the duct of {size} the air moves at {number(velocity)} m/s, {words}.",
        source=sources.DUCT,
        status="computed",
        value=velocity,
        unit="m/s",
        limit=LEAST_M_S,
        formula=f"v = Q / A; Q = {number(extraction.flow_m3_h)} m³/h, D = {number(extraction.duct_mm)} mm",
    )
    return (check, speed, _pressure(extraction, velocity))


def _pressure(extraction: Extraction, velocity_m_s: float) -> SafetyLine:
    length, width = extraction.duct_length_m, extraction.duct_mm or 0.0
    if length is None:
        return line(
            "fume-pressure",
            "fix-first",
            "The length of the duct is not stated, so what the fan has to push against is not known: measure it, "
            "and say it in the spec.",
            source=sources.DARCY,
            status="unknown",
        )
    drop = airflow.pressure_drop(velocity_m_s, length, width * 1e-3)
    return line(
        "fume-pressure",
        "duty",
        f"Flexible duct, two bends and the outlet take about {number(drop)} Pa, filters not counted: see in the "
        "fan's curve that it still moves the stated air against that.",
        source=sources.DARCY,
        status="assumed",
        value=drop,
        unit="Pa",
        formula=f"dp = (f L / D + K) rho v² / 2; f = 0.04, L = {number(length)} m, D = {number(width)} mm, K = 2.5, "
        f"rho = 1.2 kg/m³, v = {number(velocity_m_s)} m/s",
    )


def make_up_line(extraction: Extraction) -> SafetyLine:
    """Return the opening through which the air that leaves comes back in."""
    area = airflow.make_up_area(extraction.flow_m3_h / 3600.0, MAKE_UP_PA) * 1e4
    codes = (
        " Building codes often ask for a made-up supply above 510 m³/h (300 cfm)."
        if extraction.flow_m3_h > 510.0
        else ""
    )
    return line(
        "fume-make-up",
        "duty",
        f"What leaves must come in: open a window or grille of {number(area)} cm² ({number(area / 6.4516)} in²), on "
        f"the far side of the machine from the hood.{codes}",
        source=f"{sources.ORIFICE}; {sources.BACKDRAFT}",
        status="computed",
        value=area,
        unit="cm²",
        formula=f"A = Q / (Cd sqrt(2 dp / rho)); Q = {number(extraction.flow_m3_h)} m³/h, Cd = 0.6, dp = 5 Pa, "
        "rho = 1.2 kg/m³",
    )


def flue_line(job: Job) -> SafetyLine:
    """Return whether a heater with an open flue shares the air: a fan can pull its exhaust into the room."""
    extraction, flued = job.room.extraction, job.room.open_flued_appliance
    text, level, status = {
        None: (
            "Whether a stove, boiler or water heater with an open flue shares this air is not known: look, and say "
            "it in the spec. A fan can pull its exhaust, carbon monoxide and all, into the room.",
            "fix-first",
            "unknown",
        ),
        False: (
            "No heater with an open flue shares this air, as the spec says: see that it stays so while the fan runs.",
            "duty",
            "assumed",
        ),
        True: (
            "A heater with an open flue shares this air, and the fan can pull its exhaust, carbon monoxide and all, "
            "into the room. Do not run both: ask a registered fitter first."
            if extraction is not None and extraction.outdoors
            else "A heater with an open flue shares this air. An extraction that blows outdoors could pull its "
            "exhaust into the room: ask a registered fitter before you add one.",
            "stop" if extraction is not None and extraction.outdoors else "fix-first",
            "computed",
        ),
    }[flued]
    return line(
        "fume-flue",
        level,
        text,
        source=sources.BACKDRAFT,
        status=status,
        unit="Pa",
        limit=3.0,
        formula="an exhaust fan can lower the room by the 3 to 5 Pa that turn a flue round",
    )
