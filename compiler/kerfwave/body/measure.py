"""What was really built: volumes and widths read off the pieces, not off what sizing hoped for."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapely.geometry import LineString, Point
from shapely.ops import unary_union

from kerfwave.body import path, shapes
from kerfwave.body.air import Body, stands
from kerfwave.body.fold import Fold, guide_air
from kerfwave.body.places import FacePlace
from kerfwave.body.rules import BodyRules, LayerCount
from kerfwave.body.slices import Slices
from kerfwave.body.storeys import Levels, end_passages, gap_mm, passages
from kerfwave.model.acoustic import ChamberShape, GuideRun, Outside
from kerfwave.model.spec import Driver, Plan

SLANTED = 0.5  # of a face's normal towards the back: a face that leans by more than 30 degrees does not meet it square

# No air any more once it is built.
FILLED = (
    "driver-seat",
    "driver-recess",
    "terminal-seat",
    "driver-screw",
    "dowel",
    "wire-tie",
    "mouth-lip",
    "foot",
    "keyhole",
)


@dataclass(frozen=True, slots=True)
class Volumes:
    """Air behind the cone and in the guide, and in the closed box of the same outside size; m^3."""

    chamber_m3: float  # driver's displacement taken off
    closed_m3: float  # likewise
    guide: tuple[GuideRun, ...]
    chamber: ChamberShape | None  # None: a closed box
    outside: Outside | None = None  # likewise


def promised(
    fold: Fold, rules: BodyRules, counts: LayerCount, driver: Driver, plan: Plan | None = None
) -> Volumes | None:
    """Return what a fold promises before it is cut: areas of the drawing times heights; None if it does not stand.

    Without the plan nothing is said of the outside.
    """
    found = stands(rules, counts, fold)
    if found is None:
        return None
    outside = None
    if plan is not None and fold.mouth is not None:
        outside = _outside(plan, rules, counts, fold.driver, fold.mouth)
    t, rings = rules.thickness_mm, 1 if rules.recess_mm is None else 2
    height = counts.between_mm(found.chamber)
    upright = rules.stack == "upright"
    depth = rules.front_wall_mm - rings * t if upright else counts.between_mm((rings - 1, counts.floor))
    bore = math.pi / 4 * rules.bore_mm**2 * depth
    behind = bore - driver.displacement_cm3 * 1e3
    return Volumes(
        chamber_m3=(fold.chamber_area_mm2 * height + behind) * 1e-9,
        closed_m3=(fold.room_area_mm2 * counts.inner_mm + behind) * 1e-9,
        guide=_guide_runs(fold, counts, found, [(run.width_in_mm, run.width_out_mm) for run in fold.runs]),
        chamber=_chamber(fold, shapes.polygon(fold.chamber).bounds, fold.chamber_area_mm2, height)
        if fold.runs
        else None,
        outside=outside,
    )


def measured(body: Body, slices: Slices, driver: Driver) -> Volumes:
    """Return what the pieces enclose.

    The chamber is all air that the pieces leave, less guide and insets' seats; its shape is what they leave within its
    outline, layer by layer. A guide's widths are read from two cuts square to each run's centreline, short of the end
    where a slanted face cuts the duct obliquely.
    """
    outline = shapes.polygon(body.skin)
    fold, levels = body.fold, body.levels
    ducts = [shapes.polygon(guide_air(body.plan, fold, storey)) for storey in range(len(levels.storeys)) if fold.runs]
    holes = passages(fold.runs, levels, fold.key.arrangement, body.counts)
    guide = [*zip(ducts, levels.storeys, strict=False), *((shapes.polygon(hole.outline), hole.span) for hole in holes)]
    wood = {p.id: shapes.polygon(p.outline, p.holes) for p in slices.pieces}
    main, found = shapes.polygon(body.fold.chamber), []
    chamber = closed = 0.0
    for layer in slices.layers:
        middle = layer.z_mm + layer.thickness_mm / 2
        seats = [shapes.polygon(p.outline) for p in body.air if p.kind in FILLED and p.from_z_mm < middle < p.to_z_mm]
        here = [shape for shape, (low, high) in guide if low < layer.index <= high]
        air = outline.difference(unary_union([wood[name] for name in layer.pieces]))
        behind = air.difference(unary_union([*here, *seats]))
        chamber += behind.area * layer.thickness_mm
        bores = sum(
            shapes.polygon(p.outline).area * layer.thickness_mm
            for p in body.air
            if p.kind == "driver-bore" and p.from_z_mm < middle < p.to_z_mm
        )
        inner = body.counts.floor < layer.index <= body.counts.floor + body.counts.inner
        closed += bores + (body.fold.room_area_mm2 * layer.thickness_mm if inner else 0.0)
        if levels.chamber[0] < layer.index <= levels.chamber[1]:
            found.append((behind.intersection(main), layer.thickness_mm))
    if not body.fold.runs:
        closed = chamber
    taken = driver.displacement_cm3 * 1e3
    height = body.counts.between_mm(levels.chamber)
    widths = []
    for run in fold.runs:
        # Where the face cuts a long way into the last run, both cuts keep before that.
        whole = 1.0 if run is not fold.runs[-1] else max(0.2, min(1.0, (1.0 - _slant_mm(fold) / run.length_mm) / 0.75))
        at = (0.25 * whole, 0.75 * whole)
        early, late = (shapes.width_across(ducts[run.storey], *path.at(run, fraction)) for fraction in at)
        steepness = (late - early) / (0.5 * whole)
        widths.append((early - at[0] * steepness, late + (1.0 - at[1]) * steepness))
    runs = _guide_runs(fold, body.counts, levels, widths)
    area = math.fsum(part.area * thick for part, thick in found) / math.fsum(thick for _, thick in found)
    shape = _chamber(fold, unary_union([part for part, _ in found]).bounds, area, height) if fold.runs else None
    outside = None
    if fold.mouth is not None:
        outside = _outside(body.plan, body.rules, body.counts, fold.driver, fold.mouth)
    return Volumes((chamber - taken) * 1e-9, (closed - taken) * 1e-9, runs, shape, outside)


def _outside(plan: Plan, rules: BodyRules, counts: LayerCount, driver: FacePlace, mouth: FacePlace) -> Outside:
    """Return how driver and mouth lie to each other and to the plane of the back.

    Sound goes round a body: the way between them is counted along its outside, at the height of their centres.
    """
    edge = LineString([*plan.outline, plan.outline[0]])
    height, deep = counts.height_mm, max(y for _, y in plan.outline)
    there = edge.project(Point(mouth.x_mm, mouth.y_mm))
    if rules.stack == "upright":
        way = abs(there - edge.project(Point(driver.x_mm, driver.y_mm)))
        spacing, cone_wall = min(way, edge.length - way), deep
        beside = abs(mouth.normal_y) < SLANTED and mouth.face != "front"
        mouth_wall = deep - mouth.y_mm if beside else None
    else:
        spacing = math.hypot(mouth.x_mm - driver.x_mm, mouth.y_mm - driver.y_mm) + height / 2.0
        cone_wall, mouth_wall = height, height / 2.0
    return Outside(spacing * 1e-3, cone_wall * 1e-3, None if mouth_wall is None else mouth_wall * 1e-3)


def _slant_mm(fold: Fold) -> float:
    """Return how far before the end of the centreline the mouth's face begins to cut the duct off."""
    if fold.mouth is None:
        return 0.0
    heading = math.radians(path.end(fold.runs[-1])[2])
    cos = abs(math.cos(heading) * fold.mouth.normal_x + math.sin(heading) * fold.mouth.normal_y)
    return fold.runs[-1].width_out_mm / 2 * math.sqrt(max(0.0, 1.0 - cos**2)) / cos


def _chamber(fold: Fold, bounds: tuple[float, ...], area_mm2: float, height_mm: float) -> ChamberShape:
    """Return a chamber of given bounds and mean area in plan, seen along its longer side."""
    x0, y0, x1, y1 = bounds
    along_x, under = x1 - x0 >= y1 - y0, bool(fold.key.under)
    start, length = (x0, x1 - x0) if along_x else (y0, y1 - y0)

    def along(x: float, y: float) -> float:
        return min(max((x if along_x else y) - start, 0.0), length) * 1e-3

    return ChamberShape(
        length_m=length * 1e-3,
        width_m=area_mm2 / length * 1e-3,
        height_m=height_mm * 1e-3,
        driver_m=along(fold.driver.x_mm, fold.driver.y_mm),
        throat_m=along(fold.runs[0].x, fold.runs[0].y),
        # The guide leaves by a wall along the chamber's longer side; or through the floor.
        sideways=along_x == (abs(math.cos(math.radians(fold.runs[0].heading_deg))) < math.sqrt(0.5)) or under,
    )


def _guide_runs(
    fold: Fold, counts: LayerCount, found: Levels, widths_mm: list[tuple[float, float]]
) -> tuple[GuideRun, ...]:
    """Return the guide's runs with the passages among them, of which each takes its hole's length off its lanes."""
    gap = gap_mm(found, counts)
    holes = iter(passages(fold.runs, found, fold.key.arrangement, counts))
    runs: list[GuideRun] = []
    for i, (run, (width_in, width_out)) in enumerate(zip(fold.runs, widths_mm, strict=True)):
        height = counts.between_mm(found.storeys[run.storey])
        begins, ends = end_passages(fold.runs, i, fold.key.arrangement)
        if begins:
            hole = next(holes)
            floor = counts.between_mm(hole.span)
            above = 1 if hole.from_storey < 0 else 2
            # Counted by its volume: the hole, and as much of each storey's lane as lies over or under it.
            runs.append(
                GuideRun(
                    name=f"passage {sum(one.gap_m > 0.0 for one in runs) + 1}",
                    length_m=(above * gap + floor * gap / height) * 1e-3,
                    width_in_m=(widths_mm[i - 1][1] if i else width_in) * 1e-3,
                    width_out_m=width_in * 1e-3,
                    height_m=height * 1e-3,
                    turn_deg=90.0 * above,
                    gap_m=gap * 1e-3,
                    floor_m=floor * 1e-3,
                )
            )
        runs.append(_run(run, run.length_mm - gap * (begins + ends), width_in, width_out, height))
    return tuple(runs)


def _run(run: path.Run, length_mm: float, width_in_mm: float, width_out_mm: float, height_mm: float) -> GuideRun:
    radius = run.radius_mm
    return GuideRun(
        name=run.name,
        length_m=length_mm * 1e-3,
        width_in_m=width_in_mm * 1e-3,
        width_out_m=width_out_mm * 1e-3,
        height_m=height_mm * 1e-3,
        turn_deg=run.turn_deg,
        inner_radius_m=(radius - (width_in_mm + width_out_mm) / 4) * 1e-3 if math.isfinite(radius) else 0.0,
    )
