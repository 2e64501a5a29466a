"""The lines on laser light: class, limits, eyewear, and how far the direct, reflected and scattered beam reaches."""

from __future__ import annotations

from kerfwave.model.parts import SafetyLine
from kerfwave.safety import laser, sources
from kerfwave.safety.eyewear import eyewear_lines
from kerfwave.safety.job import Job
from kerfwave.safety.lines import line, number

# The bed as the beam sees it after the cut: assumed share of it that leaves as from a mirror, and what to do.
_BEDS = {
    "matt-steel": ("duty", "Matt steel scatters rather than mirrors, but a worn or greasy spot can still glint."),
    "ceramic": ("duty", "Fired ceramic scatters; a glazed one glints."),
    "wood": ("duty", "Wood scatters, but it must not lie under the beam: see the fire lines."),
    "bright-metal": (
        "fix-first",
        "Bright metal is a mirror: lay a matt, dark, non-combustible support on it (slats or honeycomb of matt steel, "
        "fired ceramic), or lift the work well out of focus above it. No paint: it burns. No bare zinc at focus.",
    ),
}


def eye_lines(job: Job) -> tuple[SafetyLine, ...]:
    """Return the lines on light. Where the wavelength is outside the limits in here, say so and compute nothing."""
    source = job.machine.laser
    if not laser.covered(source.wavelength_nm):
        return (
            line(
                "eyes-wavelength",
                "fix-first" if source.enclosed else "stop",
                f"Limits are not computed for {number(source.wavelength_nm, 4)} nm, only for visible light from 400 to "
                "700 nm. "
                + (
                    "As an interlocked Class 1 product the machine maker's manual governs: read what it says on "
                    "eyewear and service. "
                    if source.enclosed
                    else "Do not run it open. "
                )
                + "Ask a laser safety officer or the machine's maker for eyewear, distances and enclosure.",
                source=sources.EXPOSURE,
                status="unknown",
                value=source.wavelength_nm,
                unit="nm",
                limit=700.0,
            ),
        )
    return (
        _class(job),
        *_limits(job),
        *eyewear_lines(job),
        _direct(job),
        _scatter(job),
        _skin(job),
        *_people(job),
        *_bed(job),
        *_habits(job),
    )


def _zone_m(job: Job) -> float:
    """Return how far from the machine an unguarded eye is in the zone of the direct or mirrored beam, m.

    The hazard distance at 10 s, cut off by the walls; the whole room where the focal ratio is not known.
    """
    source = job.machine.laser
    if source.focal_ratio is None:
        return job.room_diagonal_m
    limit = laser.exposure_limit(source.wavelength_nm, laser.ACCIDENT_S)
    reach = laser.focused_hazard_distance(source.optical_power_w, limit, source.focal_ratio)
    return min(reach, job.room_diagonal_m)


def _class(job: Job) -> SafetyLine:
    source = job.machine.laser
    power = source.optical_power_w
    name = laser.laser_class(power)
    watts = f"{number(power)} W optical"
    if source.enclosed:
        text = (
            f"Class 1 as a product, with a Class {name} beam inside ({watts}): true only with the maker's housing and "
            "windows whole and every interlock working. Try the interlocks before each day's work. A tinted lid "
            "without an interlock and test data is no enclosure. Fume and fire stay as they are."
        )
        return line(
            "eyes-class",
            "duty",
            text,
            source=sources.PRODUCT_CLASS,
            status="assumed",
            value=power,
            unit="W",
            limit=laser.CLASS_4_ABOVE_W,
            formula=f"P = {number(power)} W; Class 4 above 0.5 W; the enclosure is as the machine file says",
        )
    danger = {
        "4": "the direct, mirrored and scattered beam can blind at once, burn skin and light a fire",
        "3B": "the direct and mirrored beam can blind at once",
    }.get(name, "do not stare into the beam")
    return line(
        "eyes-class",
        "duty",
        f"Class {name} ({watts}, open frame): {danger}. Make sure that the watts are optical, not electrical; the "
        "label of the machine's maker governs.",
        source=sources.CLASSES,
        status="computed",
        value=power,
        unit="W",
        limit=laser.CLASS_4_ABOVE_W,
        formula=f"P = {number(power)} W; Class 3B above 5 mW, Class 4 above 0.5 W",
    )


def _limits(job: Job) -> tuple[SafetyLine, ...]:
    wavelength = job.machine.laser.wavelength_nm
    rows = (
        ("eyes-limit-short", laser.BLINK_S, "0.25 s, a blink. Few people blink in time, so nothing here rests on it"),
        ("eyes-limit", laser.ACCIDENT_S, "10 s, the accident this list reckons with"),
        ("eyes-limit-long", laser.WATCHING_S, "100 s and longer: the limit for whoever watches the job"),
    )
    return tuple(
        line(
            ident,
            "note",
            f"Most that an eye may meet at {number(wavelength, 4)} nm for {words}.",
            source=sources.EXPOSURE,
            status="computed",
            value=laser.exposure_limit(wavelength, seconds),
            unit="W/m²",
            formula=f"MPE = min(thermal, photochemical): 18 t^-0.25 up to 10 s, 10 W/m² beyond; "
            f"{_blue(wavelength)}; t = {number(seconds)} s",
        )
        for ident, seconds, words in rows
    )


def _blue(wavelength_nm: float) -> str:
    if wavelength_nm > 600.0:
        return "no photochemical limit above 600 nm"
    factor = number(laser.blue_factor(wavelength_nm))
    return f"C_B max(1, 100 s / t) W/m² with C_B = {factor}"


def _direct(job: Job) -> SafetyLine:
    source = job.machine.laser
    power, ratio = source.optical_power_w, source.focal_ratio
    level = "note" if source.enclosed else "duty"
    ending = (
        "This counts when the machine is opened for service."
        if source.enclosed
        else "Put a barrier round the beam or clear the room; shut the door and cover the windows."
    )
    if ratio is None:
        return line(
            "eyes-direct",
            level,
            "How far the direct beam reaches is not known, for the focal ratio (focal length over beam width at the "
            f"lens) is not: the whole room counts as its zone. {ending}",
            source=sources.HAZARD_DISTANCE,
            status="assumed",
            value=_zone_m(job),
            unit="m",
            formula="worst case: the room's diagonal, no credit for the beam's spread",
        )
    reach = [
        laser.focused_hazard_distance(power, laser.exposure_limit(source.wavelength_nm, seconds), ratio)
        for seconds in (laser.BLINK_S, laser.ACCIDENT_S, laser.WATCHING_S)
    ]
    room = job.room_diagonal_m
    whole = (
        "farther than the room: all of it is its zone" if reach[1] >= room else f"the room measures {number(room)} m"
    )
    limit = laser.exposure_limit(source.wavelength_nm, laser.ACCIDENT_S)
    return line(
        "eyes-direct",
        level,
        f"The direct or mirrored beam is over the limit out to {number(reach[1])} m for 10 s ({number(reach[0])} m for "
        f"0.25 s, {number(reach[2])} m for 100 s and longer); {whole}. {ending}",
        source=sources.HAZARD_DISTANCE,
        status="computed",
        value=reach[1],
        unit="m",
        formula=f"NOHD = (f/b) sqrt(4 P / (pi MPE)); f/b = {number(ratio)}, P = {number(power)} W, "
        f"MPE(10 s) = {number(limit)} W/m²",
    )


def _scatter(job: Job) -> SafetyLine:
    source = job.machine.laser
    limit = laser.exposure_limit(source.wavelength_nm, laser.WATCHING_S)
    reach = laser.diffuse_distance(source.optical_power_w, limit)
    room = job.room_diagonal_m
    whole = " That is the whole room." if reach >= room else ""
    return line(
        "eyes-scatter",
        "note" if source.enclosed else "duty",
        f"Light scattered by the spot alone is over the limit for watching (100 s and longer) inside {number(reach)} m."
        f"{whole} Whoever is nearer wears the eyewear while the beam is on; a camera is the better way to watch.",
        source=sources.DIFFUSE,
        status="computed",
        value=reach,
        unit="m",
        formula=f"r = sqrt(rho P / (pi MPE)); rho = 1, P = {number(source.optical_power_w)} W, "
        f"MPE(100 s) = {number(limit)} W/m²",
    )


def _skin(job: Job) -> SafetyLine:
    source = job.machine.laser
    reach_cm = 100 * laser.diffuse_distance(source.optical_power_w, laser.SKIN_LIMIT_W_M2)
    return line(
        "eyes-skin",
        "note" if source.enclosed else "duty",
        "Skin: the beam itself burns at once, and the light that the spot scatters is over the limit for skin inside "
        f"{number(reach_cm)} cm. No hand in the machine while the beam can come on, and no sleeve that melts.",
        source=sources.SKIN,
        status="assumed",
        value=reach_cm,
        unit="cm",
        formula=f"r = sqrt(rho P / (pi MPE)); rho = 1, P = {number(source.optical_power_w)} W, "
        f"MPE(skin) = {number(laser.SKIN_LIMIT_W_M2)} W/m²",
    )


def _people(job: Job) -> tuple[SafetyLine, ...]:
    source = job.machine.laser
    if source.enclosed:
        return ()
    limit = laser.exposure_limit(source.wavelength_nm, laser.WATCHING_S)
    zone = max(_zone_m(job), laser.diffuse_distance(source.optical_power_w, limit))
    zone = min(zone, job.room_diagonal_m)
    formula = "zone = larger of the direct (10 s) and scattered (100 s) distance, no farther than the room's walls"
    nearest = job.room.bystander_m
    if nearest is None:
        return (
            line(
                "eyes-bystander",
                "fix-first",
                f"How near other people come is not known. Inside {number(zone)} m nobody may be without eyewear "
                "while the beam is on: find out, and say it in the spec.",
                source=sources.HAZARD_DISTANCE,
                status="unknown",
                unit="m",
                limit=zone,
                formula=formula,
            ),
        )
    inside = nearest < zone
    text = (
        f"Somebody is {number(nearest)} m away, inside the zone of {number(zone)} m: send them out, give them the same "
        "eyewear, or put a laser guard between."
        if inside
        else f"The nearest other person is {number(nearest)} m away, outside the zone of {number(zone)} m: see that it "
        "stays so (door shut, sign out, windows covered, pets out)."
    )
    return (
        line(
            "eyes-bystander",
            "fix-first" if inside else "duty",
            text,
            source=f"{sources.HAZARD_DISTANCE}; {sources.DIFFUSE}",
            status="computed",
            value=nearest,
            unit="m",
            limit=zone,
            formula=formula,
        ),
    )


def _bed(job: Job) -> tuple[SafetyLine, ...]:
    surface, source = job.machine.bed_surface, job.machine.laser
    if source.enclosed:
        return ()
    ratio, power = source.focal_ratio, source.optical_power_w
    limit = laser.exposure_limit(source.wavelength_nm, laser.ACCIDENT_S)
    reach = None if ratio is None else laser.focused_hazard_distance(power, limit, ratio)
    if surface not in _BEDS:
        level, words, status = (
            "fix-first",
            "What the bed is made of is not known: look, and say it in the spec.",
            "unknown",
        )
    else:
        (level, words), status = _BEDS[surface], "assumed"
    far = (
        f" A full mirror would throw it {number(reach)} m, a 5 % glint {number(reach * 0.05**0.5)} m." if reach else ""
    )
    bed = line(
        "eyes-bed",
        level,
        f"The beam goes on below the cut and off the bed. {words}{far}",
        source=sources.BED,
        status=status,
        value=reach,
        unit="m",
        formula="NOHD with R P in place of P; R = 1 assumed, no measured figure for the bed"
        + (
            "" if ratio is None else f"; f/b = {number(ratio)}, P = {number(power)} W, MPE(10 s) = {number(limit)} W/m²"
        ),
    )
    clear = line(
        "eyes-clear-bed",
        "duty",
        "Take screws, clamps, magnets, rulers and foil tape out of the travel area, or cover them matt. First run "
        "at low power, eyewear on, everyone else out; look for glints on the walls with a camera, not with the eye.",
        source=sources.PRACTICE,
        status="assumed",
    )
    return (bed, clear)


def _habits(job: Job) -> tuple[SafetyLine, ...]:
    guard = line(
        "eyes-guard",
        "note",
        "A guard or window round the machine has to be made and marked as a laser guard; that eyewear of the same tint "
        "passes its test says nothing about a panel.",
        source=sources.GUARDS,
        status="published",
    )
    harm = line(
        "eyes-harm",
        "duty",
        "An after-image that stays, a dark spot, or a beam that may have hit an eye: stop, and go to an eye clinic "
        "the same day, even without pain.",
        source=sources.MEMORY,
        status="assumed",
    )
    return (guard, harm)
