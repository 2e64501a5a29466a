"""From the layers to the air that the field is solved in: metres, patches of the plan, what fills each, openings."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import LineString, Polygon, box
from shapely.ops import split, unary_union

from kerfwave.acoustics.field import Medium, Patch, Space, Strip
from kerfwave.body import path, shapes
from kerfwave.body.air import Body
from kerfwave.model.acoustic import Air, Network, Segment
from kerfwave.model.parts import AirPrism
from kerfwave.stages.body import Built
from kerfwave.stages.field_storeys import moved, unfold

CHAMBER, FIBRE, OPEN = 0, 1, 2  # media: behind the driver, guide with fibre, guide without
HOLLOW = ("chamber", "guide", "driver-bore", "terminal-bore")  # kinds of air that nothing is put into later

CELL_MM = 4.0  # biquadratic cells: the demos' resonances are then within 0.05 % of those with half as much
CELLS_ACROSS = 3  # of the narrowest lane, at least
MOST_CELLS = 4000  # in the plan; a larger body gets larger cells


def cell_mm(body: Body) -> float:
    """Return the side of a cell that suits a body, in tenths of a millimetre."""
    if body.fold.key.arrangement.in_one_plane:
        narrowest = min(shapes.width_across(_guide(body), *path.at(run, 0.5)) for run in body.fold.runs)
    else:
        narrowest = min(path.width_at(run, 0.5) for run in body.fold.runs)
    area = math.fsum(shapes.polygon(p.outline).area for p in body.air if p.kind in ("chamber", "guide"))
    wanted = min(CELL_MM, math.floor(10.0 * narrowest / CELLS_ACROSS) / 10.0)
    return max(wanted, math.ceil(10.0 * math.sqrt(area / MOST_CELLS)) / 10.0)


def _guide(body: Body) -> Any:
    prism = next(p for p in body.air if p.kind == "guide")
    return _within(prism, shapes.polygon(body.plan.outline))


def space_of(built: Built, air: Air) -> Space:
    """Return the air of a body that has a mouth.

    Chamber and guide reach through all their layers; a bore counts with the thickness of the layers that it crosses.
    What the driver takes up is the difference between that air and the network's chamber: it is taken off the
    compressible volume behind its opening, as far back as it reaches, and not off the shape. A guide on storeys is
    unfolded into the plane, see `field_storeys`.

    Raises:
        CannotUnfold: if the storeys of a guide cannot be laid side by side.
    """
    body, network = built.body, built.network
    plan = shapes.polygon(body.plan.outline)
    prisms = [p for p in body.air if p.kind in HOLLOW]
    chamber = next(p for p in prisms if p.kind == "chamber")
    main = [chamber, *(p for p in prisms if p.kind == "guide")]
    guide, lanes, mouth = _flat(body, network) if body.fold.key.arrangement.in_one_plane else _unfolded(built, air)
    found: list[_Part] = [(shapes.polygon(chamber.outline).difference(guide), _height(chamber), CHAMBER, 1.0), *lanes]
    for prism in prisms:
        if prism not in main:
            taken = unary_union([shapes.polygon(p.outline) for p in main if _share_height(p, prism)])
            found.append((_within(prism, plan).difference(taken), _height(prism), CHAMBER, 1.0))
    bores = [p for p in prisms if p.kind == "driver-bore"]
    near = _behind_driver(body)
    behind = [(s.intersection(near), h, CHAMBER) for s, h, medium, _ in found if medium == CHAMBER]
    others = [(s.difference(near) if medium == CHAMBER else s, h, medium, spring) for s, h, medium, spring in found]
    volume = math.fsum(s.area * h for s, h, _ in behind) * 1e-9
    rest = math.fsum(s.area * h for s, h, medium, _ in others if medium == CHAMBER) * 1e-9
    less = (network.chamber_m3 - rest) / volume
    upright = body.rules.stack == "upright"
    hollow = [_within(p, plan) for p in prisms if p.kind != "guide"]
    return Space(
        air=_metres(unary_union([*hollow, guide])),
        patches=tuple(
            Patch(_metres(shape), height * 1e-3, medium, spring)
            for shape, height, medium, spring in (*((*part, less) for part in behind), *others)
            if not shape.is_empty
        ),
        media=_media(network, network.chamber_m3),
        mouth=mouth,
        driver=tuple(_front_edge(bore) for bore in bores) if upright else (),
        driver_shape=None if upright else _metres(unary_union([_within(b, plan) for b in bores])),
    )


_Part = tuple[Any, float, int, float]  # shape in mm, height in mm, medium, share of its air that is free


def _flat(body: Body, network: Network) -> tuple[Any, list[_Part], tuple[Strip, ...]]:
    """Return a guide in one plane: its shape, its parts, and where it opens."""
    prism, guide = next(p for p in body.air if p.kind == "guide"), _guide(body)
    filled, clear = _guide_parts(body, network, guide)
    lanes = [(filled, _height(prism), FIBRE, 1.0), (clear, _height(prism), OPEN, 1.0)]
    return guide, lanes, _mouth(shapes.polygon(body.plan.outline), prism)


def _unfolded(built: Built, air: Air) -> tuple[Any, list[_Part], tuple[Strip, ...]]:
    """Return a guide on storeys, likewise."""
    body = built.body
    plan, chamber = shapes.polygon(body.plan.outline), shapes.polygon(body.fold.chamber)
    storeys = [p for p in body.air if p.kind == "guide" and not p.name.startswith("passage")]
    length = math.fsum(s.length_m for s in built.network.guide if s.flow_resistivity_pa_s_m2 > 0.0)
    laid = unfold(body, chamber, tuple(_within(p, plan) for p in storeys), built.volumes.guide, length, air)
    parts = [(lane, _height(prism), 1.0) for lane, prism in zip(laid.lanes, storeys, strict=True)]
    parts += [(bridge.shape, bridge.height_mm, bridge.spring) for bridge in laid.bridges]
    found = [(shape.intersection(laid.filled), h, FIBRE, spring) for shape, h, spring in parts]
    found += [(shape.difference(laid.filled), h, OPEN, spring) for shape, h, spring in parts]
    mouth = moved(plan.exterior.intersection(shapes.polygon(storeys[-1].outline)), laid.move)
    return laid.guide, found, _strips(mouth, _height(storeys[-1]))


def _behind_driver(body: Body) -> Any:
    """Return the part of the plan from the driver's opening to where it ends."""
    rules, driver = body.rules, body.fold.driver
    if rules.stack == "facing":
        return shapely.Point(driver.x_mm, driver.y_mm).buffer(rules.bore_mm / 2.0)
    return box(driver.x_mm - rules.bore_mm / 2.0, 0.0, driver.x_mm + rules.bore_mm / 2.0, rules.reach_mm)


def _media(network: Network, chamber_m3: float) -> tuple[Medium, ...]:
    """Return chamber, guide with fibre, guide without; the guide's section is the mean along it."""
    duct = network.chamber_duct
    filled = [s for s in network.guide if s.flow_resistivity_pa_s_m2 > 0.0]
    clear = [s for s in network.guide if s.flow_resistivity_pa_s_m2 <= 0.0]
    leak = 1.0 / network.leak_pa_s_m3 if network.leak_pa_s_m3 > 0.0 else 0.0
    return (
        Medium(
            area_m2=duct.area_m2 if duct else 0.0,
            perimeter_m=duct.perimeter_m if duct else 0.0,
            flow_resistivity_pa_s_m2=network.chamber_flow_resistivity_pa_s_m2,
            leak_m3_s_pa=leak,
            volume_m3=chamber_m3,
        ),
        Medium(flow_resistivity_pa_s_m2=filled[0].flow_resistivity_pa_s_m2 if filled else 0.0),
        Medium(
            area_m2=_mean(clear, "area_in_m2", "area_out_m2"),
            perimeter_m=_mean(clear, "perimeter_in_m", "perimeter_out_m"),
        ),
    )


def _mean(segments: list[Segment], one: str, other: str) -> float:
    length = math.fsum(s.length_m for s in segments)
    total = math.fsum(s.length_m * (getattr(s, one) + getattr(s, other)) / 2.0 for s in segments)
    return total / length if length > 0.0 else 0.0


def _guide_parts(body: Body, network: Network, guide: Any) -> tuple[Any, Any]:
    """Return the part of the guide that holds fibre and the part that does not, cut square to the centreline."""
    length = 1e3 * math.fsum(s.length_m for s in network.guide if s.flow_resistivity_pa_s_m2 > 0.0)
    if length <= 0.0:
        return Polygon(), guide
    runs = body.fold.runs
    for run in runs:
        if length < run.length_mm - 1e-6:
            break
        length -= run.length_mm
    else:
        return guide, Polygon()
    x, y, heading = path.at(run, length / run.length_mm)
    across = shapes.width_across(guide, x, y, heading) / 2.0 + 0.5  # into the wood on both sides, and no further
    turn = math.radians(heading)
    dx, dy = -math.sin(turn) * across, math.cos(turn) * across
    parts = list(split(guide, LineString([(x - dx, y - dy), (x + dx, y + dy)])).geoms)
    throat = shapely.Point(runs[0].x, runs[0].y)
    first = min(parts, key=lambda part: part.distance(throat))
    return first, unary_union([part for part in parts if part is not first])


def _mouth(plan: Any, guide: AirPrism) -> tuple[Strip, ...]:
    """Return the stretches of the outline that the guide's air reaches through."""
    found = plan.exterior.intersection(shapes.polygon(guide.outline, guide.holes))
    return _strips(found, _height(guide))


def _strips(found: Any, height_mm: float) -> tuple[Strip, ...]:
    """Return the straight lines of a geometry as strips."""
    lines = [part for part in getattr(found, "geoms", [found]) if part.length > shapes.EPS]
    return tuple(
        Strip(_place(one), _place(other), height_mm * 1e-3)
        for line in lines
        for one, other in itertools.pairwise(line.coords)
        if math.dist(one, other) > shapes.EPS
    )


def _front_edge(bore: AirPrism) -> Strip:
    xs, ys = [p[0] for p in bore.outline], [p[1] for p in bore.outline]
    return Strip(_place((min(xs), min(ys))), _place((max(xs), min(ys))), _height(bore) * 1e-3)


def _within(prism: AirPrism, plan: Any) -> Any:
    return shapes.polygon(prism.outline, prism.holes).intersection(plan)


def _share_height(a: AirPrism, b: AirPrism) -> bool:
    return min(a.to_z_mm, b.to_z_mm) - max(a.from_z_mm, b.from_z_mm) > shapes.EPS


def _height(prism: AirPrism) -> float:
    return prism.to_z_mm - prism.from_z_mm


def _metres(shape: Any) -> Any:
    return affinity.scale(shape, 1e-3, 1e-3, origin=(0, 0))


def _place(point: Iterable[float]) -> tuple[float, float]:
    x, y = (float(v) for v in np.asarray(tuple(point)) * 1e-3)
    return x, y
