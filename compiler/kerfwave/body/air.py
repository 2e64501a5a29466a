"""All the air of a body, as prisms, and the openings through which it meets the room."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwave.body import path, shapes
from kerfwave.body.dowels import dowels
from kerfwave.body.fold import Fold, ducts
from kerfwave.body.mounts import mounts
from kerfwave.body.rules import BodyRules, LayerCount
from kerfwave.body.storeys import Levels, levels, long_enough, passages
from kerfwave.model.parts import AirPrism, Opening, Ring
from kerfwave.model.spec import Driver, Plan

# Neighbouring prisms reach this far into one another, and out through a face: no sliver of wood is left between
# two lines that were computed two ways. The overlap is air either way, so no wood is lost.
OVERLAP_MM = 0.05
PLATE_SHOULDER_MM = 4.0  # what the terminal plate is glued to, left and right
SCREW_ANGLE_DEG = 45.0  # first screw of the driver, from the horizontal


@dataclass(frozen=True, slots=True)
class Body:
    """A body as it will be cut: its outline, its air, and where it opens."""

    plan: Plan
    skin: Ring  # the plan with its corners rounded or chamfered: what is cut
    rules: BodyRules
    counts: LayerCount
    levels: Levels  # which of the layers hold chamber and guide
    fold: Fold
    air: tuple[AirPrism, ...]
    openings: tuple[Opening, ...]


def _ducts_within(plan: Plan, fold: Fold) -> list[Ring]:
    rim = shapes.polygon(plan.outline).buffer(OVERLAP_MM, join_style="mitre")
    found = []
    for ring in ducts(fold, OVERLAP_MM):
        cut = shapes.parts_of(shapes.polygon(ring).intersection(rim))
        found.append(shapes.rings_of(max(cut, key=lambda part: part.area))[0])
    return found


def stands(rules: BodyRules, counts: LayerCount, fold: Fold) -> Levels | None:
    """Return which layers of a stack hold what, None if the fold does not stand in it."""
    found = levels(rules, counts, fold.key.arrangement)
    if found is None or not long_enough(fold.runs, found, fold.key.arrangement, counts):
        return None
    return found


def body(plan: Plan, rules: BodyRules, driver: Driver, counts: LayerCount, fold: Fold) -> Body:
    """Put the air of a fold into a stack of layers.

    Raises:
        ValueError: for a fold that does not stand in this stack; see `stands`.
    """
    found = stands(rules, counts, fold)
    if found is None:
        raise ValueError(f"{counts.total} layers are too few for {fold.key}")
    low, high = (counts.z_mm[layer] for layer in found.chamber)
    prisms = [AirPrism("chamber", "chamber", fold.chamber, (), low, high), *_guide(plan, counts, found, fold)]
    if rules.stack == "upright":
        prisms += _driver_seat(plan, rules, counts, found, fold)
    else:
        prisms += _driver_hole(rules, driver, counts, fold)
    prisms += _terminal_seat(plan, rules, counts, found, fold)
    skin = shapes.with_corners(plan.outline, rules.corner, rules.corner_mm)
    prisms += mounts(plan, skin, rules, counts, tuple(prisms))
    air = (*prisms, *dowels(skin, rules, counts, tuple(prisms), rules.dowel_mm))
    return Body(
        plan=plan,
        skin=skin,
        rules=rules,
        counts=counts,
        levels=found,
        fold=fold,
        air=air,
        openings=_openings(rules, driver, counts, found, fold),
    )


def _guide(plan: Plan, counts: LayerCount, found: Levels, fold: Fold) -> list[AirPrism]:
    """Return the guide's air on every storey, and the passages through the floors between."""
    z, alone = counts.z_mm, len(found.storeys) == 1
    if not fold.runs:
        return []
    rings = _ducts_within(plan, fold)
    holes = {hole.to_storey: hole for hole in passages(fold.runs, found, fold.key.arrangement, counts)}
    prisms: list[AirPrism] = []
    for n, (ring, (a, b)) in enumerate(zip(rings, found.storeys, strict=True)):  # in the order of the sound's path
        if n in holes:
            low, high = holes[n].span
            name = f"passage {sum(p.name.startswith('passage') for p in prisms) + 1}"
            prisms.append(AirPrism(name, "guide", holes[n].outline, (), z[low], z[high]))
        prisms.append(AirPrism("guide" if alone else f"guide, storey {n + 1}", "guide", ring, (), z[a], z[b]))
    return prisms


def _driver_seat(plan: Plan, rules: BodyRules, counts: LayerCount, found: Levels, fold: Fold) -> list[AirPrism]:
    """Return a pocket for the ring, whole layers high, and behind it the bore: layer by layer the chord of a circle.

    With a recess the pocket takes a collar before the ring. A layer of the bore takes the widest chord within its
    thickness, so the stepped bore clears the whole circle.
    """
    t, z, a_b = rules.thickness_mm, counts.z_mm, shapes.face_line(plan, "front")
    first, after = found.seat
    seat = shapes.face_rectangle(*a_b, fold.driver.along_mm, rules.seat_width_mm, -OVERLAP_MM, rules.sunk_mm + t)
    prisms = [AirPrism("driver seat", "driver-seat", seat, (), z[first], z[after])]
    centre = counts.middle_mm(found.seat)
    radius = rules.bore_mm / 2
    for i in range(*found.chamber):
        below, above = z[i] - centre, z[i + 1] - centre
        nearest = 0.0 if below <= 0.0 <= above else min(abs(below), abs(above))
        if nearest < radius - 1e-6:
            chord = 2 * math.sqrt(radius**2 - nearest**2)
            bore = shapes.face_rectangle(
                *a_b, fold.driver.along_mm, chord, t - OVERLAP_MM, rules.front_wall_mm + OVERLAP_MM
            )
            prisms.append(AirPrism(f"driver bore {i + 1}", "driver-bore", bore, (), z[i], z[i + 1]))
    return prisms


def screw_places(driver: Driver) -> tuple[tuple[float, float], ...]:
    """Return where the driver's screws sit about its centre."""
    angles = [math.radians(SCREW_ANGLE_DEG + 360.0 * k / driver.screw_count) for k in range(driver.screw_count)]
    r = driver.bolt_circle_mm / 2
    return tuple((r * math.cos(a), r * math.sin(a)) for a in angles)


def _driver_hole(rules: BodyRules, driver: Driver, counts: LayerCount, fold: Fold) -> list[AirPrism]:
    """Return a round hole through the front layers of a facing stack, and the driver's pilot holes.

    With a recess the hole of the first layer is as wide as the flange, and the rest begins behind it.
    """
    x, y, z, sunk = fold.driver.x_mm, fold.driver.y_mm, counts.z_mm, rules.sunk_mm
    holes = [AirPrism("driver bore", "driver-bore", path.circle(x, y, driver.cutout_mm), (), sunk, z[counts.floor])]
    if rules.recess_mm is not None:
        holes.insert(0, AirPrism("driver recess", "driver-recess", path.circle(x, y, rules.recess_mm), (), 0.0, sunk))
    # A pilot hole that went right through the front would be a leak; the last layer stays whole if it can.
    last = z[max(1, counts.floor - 1)]
    if last > sunk + shapes.EPS:
        for n, (dx, dy) in enumerate(screw_places(driver), 1):
            pilot = path.circle(x + dx, y + dy, driver.screw_hole_mm)
            holes.append(AirPrism(f"driver screw {n}", "driver-screw", pilot, (), sunk, last))
    return holes


def _terminal_seat(plan: Plan, rules: BodyRules, counts: LayerCount, found: Levels, fold: Fold) -> list[AirPrism]:
    t, z, a_b = rules.thickness_mm, counts.z_mm, shapes.face_line(plan, fold.terminal.face)
    first, after = found.plate
    width = rules.plate_width_mm + 2 * rules.fit_mm
    seat = shapes.face_rectangle(*a_b, fold.terminal.along_mm, width, -OVERLAP_MM, t)
    bore = shapes.face_rectangle(
        *a_b,
        fold.terminal.along_mm,
        width - 2 * PLATE_SHOULDER_MM,
        t - OVERLAP_MM,
        rules.terminal_wall_mm + OVERLAP_MM,
    )
    return [
        AirPrism("terminal seat", "terminal-seat", seat, (), z[first], z[after]),
        AirPrism("terminal bore", "terminal-bore", bore, (), z[first + 1], z[after - 1]),
    ]


def _openings(rules: BodyRules, driver: Driver, counts: LayerCount, found: Levels, fold: Fold) -> tuple[Opening, ...]:
    seat, (first, after) = counts.middle_mm(found.seat), found.plate
    terminal = fold.terminal
    upright = rules.stack == "upright"
    plate = rules.plate_width_mm + 2 * rules.fit_mm - 2 * PLATE_SHOULDER_MM
    plate_height = counts.between_mm((first + 1, after - 1))
    return (
        Opening(
            name="driver",
            kind="driver",
            centre_mm=(fold.driver.x_mm, 0.0, seat) if upright else (fold.driver.x_mm, fold.driver.y_mm, 0.0),
            normal=(0.0, -1.0, 0.0) if upright else (0.0, 0.0, -1.0),
            area_mm2=math.pi / 4 * driver.cutout_mm**2,
            diameter_mm=driver.cutout_mm,
        ),
        *_mouth(fold, counts.between_mm(found.storeys[-1]), counts.middle_mm(found.storeys[-1])),
        Opening(
            name="terminal",
            kind="terminal",
            centre_mm=(terminal.x_mm, terminal.y_mm, counts.middle_mm(found.plate)),
            normal=(terminal.normal_x, terminal.normal_y, 0.0),
            area_mm2=plate * plate_height,
            width_mm=plate,
            height_mm=plate_height,
        ),
    )


def _mouth(fold: Fold, height: float, middle: float) -> tuple[Opening, ...]:
    """Return the opening of the guide, whose width is counted along the face; nothing for a closed box."""
    mouth = fold.mouth
    if mouth is None:
        return ()
    last = fold.runs[-1]
    heading = math.radians(path.end(last)[2])
    width = last.width_out_mm / abs(math.cos(heading) * mouth.normal_x + math.sin(heading) * mouth.normal_y)
    return (
        Opening(
            name="mouth",
            kind="mouth",
            centre_mm=(mouth.x_mm, mouth.y_mm, middle),
            normal=(mouth.normal_x, mouth.normal_y, 0.0),
            area_mm2=width * height,
            width_mm=width,
            height_mm=height,
        ),
    )
