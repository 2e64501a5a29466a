"""The lines on eyewear: the density and scale number that the beam asks for, and what is at hand."""

from __future__ import annotations

from kerfwave.model.parts import SafetyLine
from kerfwave.model.spec import Eyewear
from kerfwave.safety import laser, sources
from kerfwave.safety.job import Job
from kerfwave.safety.lines import line, number


def eyewear_lines(job: Job) -> tuple[SafetyLine, ...]:
    """Return what eyewear the direct beam asks for and how the one at hand compares. For covered wavelengths only."""
    source = job.machine.laser
    return (*_densities(source.optical_power_w, source.wavelength_nm), _scale(source.optical_power_w), *_at_hand(job))


def _densities(power_w: float, wavelength_nm: float) -> tuple[SafetyLine, ...]:
    rows = (
        ("eyes-density-short", laser.BLINK_S, "for 0.25 s, a blink: less than this list asks for"),
        ("eyes-density", laser.ACCIDENT_S, "for 10 s: the density to have"),
        ("eyes-density-long", laser.WATCHING_S, "for 100 s and longer: only who stares into the beam itself needs it"),
    )
    made = []
    for ident, seconds, words in rows:
        limit = laser.exposure_limit(wavelength_nm, seconds)
        density = laser.optical_density(power_w, limit)
        made.append(
            line(
                ident,
                "note",
                f"Optical density {laser.whole_number(density)} (OD {density:.2f} rounded up) at "
                f"{number(wavelength_nm, 4)} nm, {words}.",
                source=sources.DENSITY,
                status="computed",
                value=density,
                unit="OD",
                formula=f"OD = log10(P / A / MPE); P = {number(power_w)} W, A = 38.5 mm² (7 mm pupil), "
                f"MPE = {number(limit)} W/m²",
            )
        )
    return tuple(made)


def _scale(power_w: float) -> SafetyLine:
    scale = laser.scale_number(power_w)
    too_much = " The scale ends at LB10: no eyewear for this beam." if scale > 10 else ""
    return line(
        "eyes-scale",
        "note",
        f"In EN 207 marking: mode D, LB{scale}, which also has to stand the beam for 5 s.{too_much} Worked on the "
        "standard's 1 mm beam; the correction for a wider beam is not computed. At the focus itself no eyewear holds.",
        source=sources.SCALE,
        status="assumed",
        value=float(scale),
        unit="LB",
        formula=f"n >= log10(P / (pi (1 mm)² / 4)) - 1, rounded up; P = {number(power_w)} W",
    )


def _at_hand(job: Job) -> tuple[SafetyLine, ...]:
    source, eyewear = job.machine.laser, job.room.eyewear
    if source.enclosed:
        return (
            line(
                "eyes-eyewear",
                "note",
                "With the enclosure whole no eyewear is asked for; it is when the machine is opened for service.",
                source=sources.PRODUCT_CLASS,
                status="assumed",
            ),
        )
    limit = laser.exposure_limit(source.wavelength_nm, laser.ACCIDENT_S)
    density = laser.whole_number(laser.optical_density(source.optical_power_w, limit))
    scale = laser.scale_number(source.optical_power_w)
    if eyewear is None:
        return (
            line(
                "eyes-eyewear",
                "fix-first",
                f"No eyewear is stated. Before the beam comes on everyone in the zone needs some that is marked for "
                f"{number(source.wavelength_nm, 4)} nm with optical density {density} or more and D LB{scale} or more.",
                source=sources.DENSITY,
                status="unknown",
                unit="OD",
                limit=float(density),
            ),
        )
    return (
        _band_at_hand(eyewear, source.wavelength_nm),
        _density_at_hand(eyewear.optical_density, eyewear.lb, density),
        *_scale_at_hand(eyewear, scale),
    )


def _band_at_hand(eyewear: Eyewear, wavelength_nm: float) -> SafetyLine:
    low, high = eyewear.from_nm, eyewear.to_nm
    fits = low <= wavelength_nm <= high
    return line(
        "eyes-eyewear",
        "duty" if fits else "fix-first",
        f"The eyewear at hand is marked {number(low, 4)} to {number(high, 4)} nm, and the laser is "
        f"{number(wavelength_nm, 4)} nm. "
        + (
            "Wear it whenever the beam can come on; throw it out when scratched, bleached or hit."
            if fits
            else "It does not protect from this laser: get some that does."
        ),
        source=sources.DENSITY,
        status="published",
        value=wavelength_nm,
        unit="nm",
        limit=None if fits else high if wavelength_nm > high else low,
        formula=f"{number(low, 4)} nm <= wavelength <= {number(high, 4)} nm, as printed on the eyewear",
    )


def _scale_at_hand(eyewear: Eyewear, scale: int) -> tuple[SafetyLine, ...]:
    """Return how long it stands a hit; nothing more to say where neither LB number nor density is stated."""
    if eyewear.lb is not None:
        enough = eyewear.lb >= scale
        return (
            line(
                "eyes-eyewear-scale",
                "duty" if enough else "fix-first",
                f"It is marked LB{eyewear.lb}, and this beam asks for LB{scale}. "
                + (
                    "It holds for the seconds it takes to look away, not for staring."
                    if enough
                    else "Get a higher number, or have a laser safety officer work it out for your beam's width."
                ),
                source=sources.SCALE,
                status="assumed",
                value=float(eyewear.lb),
                unit="LB",
                limit=float(scale),
                formula="LB at hand >= LB asked for, 1 mm beam",
            ),
        )
    if eyewear.optical_density is None:
        return ()
    return (
        line(
            "eyes-eyewear-scale",
            "duty",
            "No LB number is stated, so how long it stands a hit is not known: a density alone does not say. "
            f"Prefer eyewear marked D LB{scale} or more, and never look into the beam.",
            source=sources.SCALE,
            status="assumed",
            unit="LB",
            limit=float(scale),
        ),
    )


def _density_at_hand(density: float | None, scale: int | None, needed: int) -> SafetyLine:
    """LBn promises a transmittance of 10^-n at most, so it stands for a density where none is printed."""
    have = density if density is not None else None if scale is None else float(scale)
    if have is None:
        return line(
            "eyes-eyewear-density",
            "fix-first",
            f"What density the eyewear has is not known: look for OD {needed} or more in print on it, or get some that "
            "says.",
            source=sources.DENSITY,
            status="unknown",
            unit="OD",
            limit=float(needed),
        )
    enough = have >= needed
    told = "" if density is not None else ", by its LB number"
    return line(
        "eyes-eyewear-density",
        "duty" if enough else "fix-first",
        f"Its density is OD {number(have)}{told}, and OD {needed} is asked for. "
        + ("Read it on the eyewear itself." if enough else "It is too weak for this laser: get some that is enough."),
        source=sources.DENSITY,
        status="published",
        value=have,
        unit="OD",
        limit=float(needed),
        formula="OD at hand >= OD for 10 s, rounded up",
    )
