"""Values that each fit the schema, and together cannot be, or hardly: the checks across keys."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from kerfwave.findings import Finding
from kerfwave.model import spec as model
from kerfwave.spec import mounting, sheets, thicknesses
from kerfwave.spec.places import Places, finding_at
from kerfwave.spec.program_lines import problems
from kerfwave.spec.schema_files import schema
from kerfwave.spec.suggest import nearest
from kerfwave.spec.units import number

_SILENT, _LOUD = 0.05, 15.0  # of a driver contradiction: up to 5 % is rounding, above 15 % something is wrong


@dataclass(frozen=True, slots=True)
class Parts:
    """The parts of a spec that fit their schema; None stands for one that does not."""

    driver: model.Driver | None = None
    drive: model.Drive | None = None
    listening: model.Listening | None = None
    target: model.Target | None = None
    enclosure: model.Enclosure | None = None
    stock: model.Stock | None = None
    machine: model.Machine | None = None
    room: model.Room | None = None
    recipes: Mapping[int, model.RecipeEntry] = field(default_factory=dict)  # by place in the whole list


def check(parts: Parts, at: Places) -> Iterator[Finding]:
    """Yield everything that does not make sense in the parts that are there."""
    if parts.driver:
        yield from _driver_parameters(parts.driver, at)
        yield from _driver_sizes(parts.driver, at)
    if parts.target:
        yield from _target(parts.target, parts.driver, at)
    if parts.driver and parts.drive:
        yield from _drive(parts.drive, parts.driver, at)
    if parts.enclosure and parts.listening:
        yield from _in_wall(parts.listening, parts.enclosure, at)
        yield from mounting.check(parts.enclosure, parts.listening, at)
    if parts.enclosure:
        yield from _case(parts.enclosure, parts.target, at)
        yield from _wood(parts.enclosure, at)
        yield from _terminals(parts.enclosure, at)
        if parts.driver:
            yield from _room_for_driver(parts.enclosure, parts.driver, at)
    if parts.stock:
        yield from _stock(parts.stock, at)
        if parts.enclosure:
            yield from thicknesses.labels(parts.stock, parts.enclosure, at)
    if parts.machine:
        yield from _machine(parts.machine, at)
    if parts.room and parts.room.eyewear:
        worn = parts.room.eyewear
        yield from _upside_down(("room", "eyewear"), "from_nm", worn.from_nm, "to_nm", worn.to_nm, "nm", at)
    yield from _recipes(parts, at)


def _upside_down(
    path: tuple[str, ...], low_key: str, low: float, high_key: str, high: float, unit: str, at: Places
) -> Iterator[Finding]:
    if low >= high:
        message = f"{low_key} is {number(low)} {unit}, not below {high_key}, {number(high)} {unit}"
        yield at.finding((*path, low_key), "K404", message, "", f"{low_key} lower than {high_key}")


def _driver_parameters(driver: model.Driver, at: Places) -> Iterator[Finding]:
    from kerfwave.acoustics.air import air
    from kerfwave.acoustics.driver import complete, contradictions

    for given, missing in (("l2_mh", "r2_ohm"), ("r2_ohm", "l2_mh")):
        if getattr(driver, given) is not None and getattr(driver, missing) is None:
            message = f"{given} is given and {missing} is not"
            why = "the semi-inductance is one inductor and one resistor, side by side"
            yield at.finding(("driver", given), "K402", message, why, "both, or neither")
            driver = replace(driver, l2_mh=None, r2_ohm=None)  # the rest is looked at all the same
            break
    found = contradictions(driver, air(), _SILENT)
    for one in found:
        why = "above 15 % one of them is wrong" if abs(one.percent) > _LOUD else "up to 5 % counts as rounding"
        hint = f"{one.keys[0]}: {number(one.implied)}, or look at {' and '.join(one.keys[1:])} again"
        level = "error" if abs(one.percent) > _LOUD else "warning"
        if level == "error":
            yield at.finding(("driver", one.keys[0]), "K401", one.text, why, hint)
        else:
            yield at.finding(("driver", one.keys[0]), "K401", one.text, why, hint, level="warning")
    try:
        complete(driver, air())
    except ValueError as error:
        if not any(one.keys[0] == "qts" for one in found):
            hint = "one of vas_l, cms_mm_n, mms_g; and two of qms, qes, qts (bl_tm may stand for one in either list)"
            yield at.finding(("driver",), "K402", str(error), "", hint)


def _driver_sizes(driver: model.Driver, at: Places) -> Iterator[Finding]:
    cutout, bolts, frame = driver.cutout_mm, driver.bolt_circle_mm, driver.frame_mm
    hint = "cutout_mm < bolt_circle_mm < frame_mm"
    if cutout >= bolts:
        message = f"cutout_mm is {number(cutout)} mm, not smaller than bolt_circle_mm, {number(bolts)} mm"
        yield at.finding(("driver", "cutout_mm"), "K403", message, "the screws would stand in the hole", hint)
    if bolts >= frame:
        message = f"bolt_circle_mm is {number(bolts)} mm, not smaller than frame_mm, {number(frame)} mm"
        yield at.finding(
            ("driver", "bolt_circle_mm"), "K403", message, "the screws would stand beside the flange", hint
        )
    cone = 20.0 * math.sqrt(driver.sd_cm2 / math.pi)
    if cone >= frame:
        message = f"sd_cm2 is {number(driver.sd_cm2)} cm², a circle of {number(round(cone, 1))} mm"
        why = f"that is no smaller than the flange, {number(frame)} mm"
        yield at.finding(("driver", "sd_cm2"), "K403", message, why, "cone area in cm², flange diameter in mm")
    if at.stated(("driver", "magnet_mm")) and driver.magnet_mm > cutout:
        message = f"magnet_mm is {number(driver.magnet_mm)} mm, more than cutout_mm, {number(cutout)} mm"
        why = "the driver cannot be put in from the front"
        yield at.finding(("driver", "magnet_mm"), "K403", message, why, "", level="warning")


def _target(target: model.Target, driver: model.Driver | None, at: Places) -> Iterator[Finding]:
    for low, high in (("band_from_hz", "band_to_hz"), ("relief_from_hz", "relief_to_hz")):
        yield from _upside_down(("target",), low, getattr(target, low), high, getattr(target, high), "Hz", at)
    if driver and target.excursion_mm is not None and target.excursion_mm > driver.xmax_mm:
        message = (
            f"excursion_mm is {number(target.excursion_mm)} mm, more than the driver's {number(driver.xmax_mm)} mm"
        )
        why = "xmax_mm is where the motor stops being linear"
        yield at.finding(("target", "excursion_mm"), "K414", message, why, "", level="warning")


def _drive(drive: model.Drive, driver: model.Driver, at: Places) -> Iterator[Finding]:
    if drive.most_volts is not None and drive.volts > drive.most_volts:
        message = f"volts is {number(drive.volts)} V, more than most_volts, {number(drive.most_volts)} V"
        yield at.finding(("drive", "volts"), "K404", message, "", "volts of at most most_volts")
    power = drive.volts**2 / driver.re_ohm
    if power > driver.power_w:
        top = math.floor(10 * math.sqrt(driver.power_w * driver.re_ohm)) / 10
        message = f"{number(drive.volts)} V is {number(round(power, 1))} W into {number(driver.re_ohm)} ohm"
        why = f"the driver is rated {number(driver.power_w)} W"
        yield at.finding(("drive", "volts"), "K414", message, why, f"at most {number(top)} V", level="warning")


def _in_wall(place: model.Listening, body: model.Enclosure, at: Places) -> Iterator[Finding]:
    if place.mounting != "in-wall":
        return
    if place.space != "half":
        message = "mounting is in-wall, and space is full: nothing is let into a wall and stands free"
        yield at.finding(("listening", "mounting"), "K418", message, "", "space: half")
    elif body.case != "closed" and (body.mouth_face != "front" or body.stack == "facing"):
        message = "a body let into a wall needs its mouth in the front: elsewhere it opens into the wall"
        yield at.finding(("listening", "mounting"), "K418", message, "", "stack: upright with mouth_face: front")


def _case(body: model.Enclosure, target: model.Target | None, at: Places) -> Iterator[Finding]:
    if body.case == "closed":
        for key in ("mouth_face", "guide_least_mm"):
            if at.stated(("enclosure", key)):
                message = f"{key} is given, but a closed box has neither guide nor mouth"
                yield at.finding(
                    ("enclosure", key), "K418", message, "", "leave it out, or another case", level="warning"
                )
    if body.case == "vented" and target and body.guide_least_mm is not None:
        from kerfwave.acoustics.air import air
        from kerfwave.acoustics.cases import duct_length_m

        longest = round(1e3 * duct_length_m("vented", target.relief_from_hz, air())[1], 1)
        if body.guide_least_mm > longest:
            message = f"guide_least_mm is {number(body.guide_least_mm)} mm, too long for the duct of a vented box"
            why = f"above an eighth of the wave at relief_from_hz, {number(longest)} mm, it acts as a guide"
            yield at.finding(("enclosure", "guide_least_mm"), "K418", message, why, "leave it out, or another case")


def _wood(body: model.Enclosure, at: Places) -> Iterator[Finding]:
    if body.fit_mm is not None and at.stated(("enclosure", "inset_fit")):
        message = f"fit_mm is {number(body.fit_mm)} mm, and inset_fit says {body.inset_fit}"
        why = "both are the play of an inset in its seat"
        yield at.finding(("enclosure", "fit_mm"), "K421", message, why, "one of the two")
    for key in ("wall_mm", "separator_mm"):
        wood = getattr(body, key)
        if wood < body.least_web_mm:
            message = f"{key} is {number(wood)} mm, thinner than least_web_mm, {number(body.least_web_mm)} mm"
            stated = key if at.stated(("enclosure", key)) else "least_web_mm"
            yield at.finding(("enclosure", stated), "K407", message, "", f"{key} of at least least_web_mm")
    for key in ("mouth_face", "terminal_face"):
        face = getattr(body, key)
        if face != "auto" and face not in body.plan.faces:
            why = f"the plan's faces: {', '.join(body.plan.faces)}; or auto"
            near = nearest(face, body.plan.faces)
            yield at.finding(("enclosure", key), "K410", f"the plan has no face '{face}'", why, near)


def _terminals(body: model.Enclosure, at: Places) -> Iterator[Finding]:
    plate = body.terminals
    for key, size, holes in (
        ("plate_width_mm", plate.plate_width_mm, plate.spacing_mm + plate.post_hole_mm),
        ("plate_height_mm", plate.plate_height_mm, plate.post_hole_mm),
    ):
        least = holes + 2 * body.least_web_mm
        if size < least:
            message = f"{key} is {number(size)} mm; the holes and their edges need {number(least)} mm"
            why = f"least_web_mm, {number(body.least_web_mm)} mm, stays round each hole"
            path = ("enclosure", "terminals", key)
            yield at.finding(path, "K415", message, why, f"{key}: {number(least)} or more")


def _room_for_driver(body: model.Enclosure, driver: model.Driver, at: Places) -> Iterator[Finding]:
    xs, ys = [x for x, _ in body.plan.outline], [y for _, y in body.plan.outline]
    width, depth = max(xs) - min(xs), max(ys)
    plan = ("enclosure", "plan")
    upright = body.stack == "upright"
    front = math.dist(body.plan.outline[0], body.plan.outline[1]) if upright else width
    across = body.height_mm if upright else depth
    for path, size, words in (
        (plan, front, "the front is {} wide" if upright else "the plan is {} wide"),
        (
            ("enclosure", "height_mm") if upright else plan,
            across,
            "height_mm is {}" if upright else "the plan is {} high",
        ),
    ):
        if size < driver.frame_mm:
            message = f"{words.format(f'{number(size)} mm')}, the driver's flange {number(driver.frame_mm)} mm"
            yield at.finding(
                path, "K408", message, "the flange must lie on the body", f"at least {number(driver.frame_mm)} mm"
            )
    room, path = (depth, plan) if upright else (body.height_mm, ("enclosure", "height_mm"))
    least = driver.depth_mm + body.wall_mm
    if room < least:
        message = f"the body is {number(room)} mm deep; the driver and the wall behind it need {number(least)} mm"
        yield at.finding(path, "K408", message, "", f"at least {number(least)} mm")
    for path, size in ((plan, min(width, depth)), (("enclosure", "height_mm"), body.height_mm)):
        least = 2 * body.wall_mm + body.least_duct_mm
        if size < least:
            message = f"{number(size)} mm leaves no room for air between two walls of {number(body.wall_mm)} mm"
            yield at.finding(path, "K408", message, f"least_duct_mm is {number(body.least_duct_mm)} mm", "")


def _material(key: str, path: tuple[str | int, ...], at: Places) -> Iterator[Finding]:
    known: list[str] = schema("stock")["properties"]["material"]["examples"]
    if key not in known:
        near = nearest(key, known)
        why = "the safety stage knows the materials of the table in the spec reference, and stops at any other"
        yield at.finding((*path, "material"), "K417", f"the material '{key}' is not known", why, near, level="warning")


def _stock(stock: model.Stock, at: Places) -> Iterator[Finding]:
    yield from _material(stock.material, ("stock",), at)
    yield from thicknesses.check(stock, at)
    yield from sheets.check(stock, at)


def _machine(machine: model.Machine, at: Places) -> Iterator[Finding]:
    if (machine.air_on is None) != (machine.air_off is None):
        here, there = ("air_on", "air_off") if machine.air_on else ("air_off", "air_on")
        message = f"{here} is given and {there} is not"
        hint = f"{there}: {'M9' if there == 'air_off' else 'M8'}, or leave both out"
        yield at.finding(("machine", here), "K413", message, "air that is switched on must be switched off", hint)
    if machine.rapid_feed_mm_min < machine.max_feed_mm_min:
        message = f"rapid_feed_mm_min, {number(machine.rapid_feed_mm_min)}, is below max_feed_mm_min"
        why = "rapid moves are the fastest a machine makes"
        yield at.finding(("machine", "rapid_feed_mm_min"), "K413", message, why, "", level="warning")
    if machine.power_scale < 10:
        tenth = number(machine.power_scale / 10)
        message = f"power_scale is {number(machine.power_scale)}: a tenth of full power is S{tenth}"
        why = "controllers that take whole S words only would cut at full power or not at all"
        hint = "the S word for full power, often 255 or 1000"
        yield at.finding(("machine", "power_scale"), "K413", message, why, hint, level="warning")
    bed = (machine.bed_width_mm, machine.bed_height_mm)
    for key, lines in (("start", machine.start), ("end", machine.end)):
        for index, line in enumerate(lines):
            for offset, length, message, why in problems(line, key == "end", bed, machine.rapid_feed_mm_min):
                yield _within(("machine", key, index), offset, length, message, why, line, at)


def _within(
    path: tuple[str | int, ...], offset: int, length: int, message: str, why: str, line: str, at: Places
) -> Finding:
    """Point at one word of a text, if the text stands in the file as it is."""
    source, inner = at.find(path)
    span = source.span(inner)
    found = source.line_text(span.line).find(line, span.column - 1)
    if found >= 0:
        span = span._replace(column=found + offset + 1, length=length)
    return finding_at(source, span, "K412", message, why, "see the list of allowed words in the spec reference")


def _recipes(parts: Parts, at: Places) -> Iterator[Finding]:
    names: dict[str, int] = {}
    for index, recipe in parts.recipes.items():
        path = ("recipes", index)
        if recipe.name in names:
            file, line, _, _ = at.locate(("recipes", names[recipe.name], "name"))
            message = f"a recipe '{recipe.name}' is there already"
            yield at.finding((*path, "name"), "K416", message, f"the first one: {file}:{line}", "a name of its own")
        names.setdefault(recipe.name, index)
        yield from _material(recipe.material, path, at)
        yield from _taper(recipe, path, at)
        if parts.machine:
            yield from _recipe_on_machine(recipe, path, parts.machine, parts.stock, at)


def _taper(recipe: model.RecipeEntry, path: tuple[str | int, ...], at: Places) -> Iterator[Finding]:
    faces = [width for width in (recipe.kerf_top_mm, recipe.kerf_bottom_mm) if width is not None]
    if len(faces) == 2 and not min(faces) <= recipe.kerf_mm <= max(faces):
        message = f"kerf_mm is {number(recipe.kerf_mm)} mm, not between kerf_top_mm and kerf_bottom_mm"
        why = f"{number(faces[0])} mm at the upper face, {number(faces[1])} mm at the lower"
        yield at.finding((*path, "kerf_mm"), "K404", message, why, "what fits best: usually the mean of both")


def _recipe_on_machine(
    recipe: model.RecipeEntry,
    path: tuple[str | int, ...],
    machine: model.Machine,
    stock: model.Stock | None,
    at: Places,
) -> Iterator[Finding]:
    power = machine.laser.optical_power_w
    if at.stated(("recipes",)) and recipe.optical_power_w > 1.1 * power:
        message = f"the recipe was found with {number(recipe.optical_power_w)} W, this laser has {number(power)} W"
        yield at.finding((*path, "optical_power_w"), "K411", message, "it will not be used", "", level="warning")
    if recipe.focus_step_mm > 0 and not machine.focus_axis and at.stated(("recipes",)):
        message = f"focus_step_mm is {number(recipe.focus_step_mm)} mm, and this machine's head does not move"
        hint = "focus_axis: true in the machine file, if a program can move the head"
        yield at.finding((*path, "focus_step_mm"), "K411", message, "every pass keeps one focus", hint, level="warning")
    same_laser = abs(recipe.optical_power_w - power) <= 0.1 * power
    if same_laser and recipe.feed_mm_min > machine.max_feed_mm_min:
        used = (
            stock is not None
            and recipe.material == stock.material
            and abs(recipe.thickness_mm - stock.thickness_mm) < 0.05
        )
        message = (
            f"feed_mm_min is {number(recipe.feed_mm_min)}, the machine goes {number(machine.max_feed_mm_min)} at most"
        )
        hint = f"feed_mm_min: {number(machine.max_feed_mm_min)} or less, found by a test cut"
        level = "error" if used else "warning"
        yield at.finding(
            (*path, "feed_mm_min"), "K411", message, "", hint, level="error" if level == "error" else "warning"
        )
