"""Design rules of the body, each with its value and its limit: webs, holes, loose pieces, leaks."""

from __future__ import annotations

import itertools

from shapely.geometry import Point as Place
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points, polylabel, unary_union
from shapely.strtree import STRtree

from kerfwave.body import shapes
from kerfwave.body.air import Body
from kerfwave.body.dowels import check_dowels, check_registration
from kerfwave.body.reach import check_clamps, check_driver_depth, check_ways
from kerfwave.body.seams import check_seams
from kerfwave.body.slices import Slices
from kerfwave.model.parts import Check, Piece, Spot
from kerfwave.model.spec import Driver

LEAST_HOLE_MM = 2.0  # smallest circle a hobby diode laser cuts cleanly (common practice)
LEAST_GLUE_MM2 = 200.0  # of lap between a piece and its neighbours above and below (common practice: a thumbnail)
LEAST_JOINT_MM2 = LEAST_GLUE_MM2 / 2  # of them on one side: less does not count as joined
WEB_STEP_MM = 0.05


def check_body(body: Body, slices: Slices, insets: tuple[Piece, ...], driver: Driver) -> tuple[Check, ...]:
    """Run every rule over a sliced body."""
    return (
        *_webs(body, slices, insets),
        _holes((*slices.pieces, *insets)),
        _glue(slices),
        *check_seams(slices),
        check_clamps(body, slices),
        check_ways(body),
        check_driver_depth(body, slices, driver),
        *_dowels(body, slices),
        *_air_ways(body, slices),
    )


def _dowels(body: Body, slices: Slices) -> tuple[Check, ...]:
    if not body.rules.dowel_mm:
        return ()
    held = check_registration(slices.pieces, body.air, body.counts.total)
    some = any(p.kind == "dowel" for p in body.air)
    return (held, check_dowels(body.air, body.skin, body.rules.least_web_mm)) if some else (held,)


# --- webs and holes ---------------------------------------------------------------------------------------------


def narrowest_web_mm(wood: Polygon, most_mm: float = 20.0) -> float:
    """Return the narrowest place of a piece: the width at which wearing it away first breaks or loses a part.

    Found by bisection to 0.05 mm; `most_mm` if it holds together to there.
    """

    def holds(width: float) -> bool:
        return len(shapes.parts_of(wood.buffer(-width / 2, quad_segs=4), 1e-6)) == 1

    low, high = 0.0, most_mm
    if holds(high):
        return high
    while high - low > WEB_STEP_MM:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def _webs(body: Body, slices: Slices, insets: tuple[Piece, ...]) -> tuple[Check, ...]:
    known: dict[tuple[object, ...], float] = {}
    worst: tuple[float, str] = (float("inf"), "")
    for piece in (*slices.pieces, *insets):
        shape = (piece.outline, piece.holes)
        if shape not in known:  # most layers are alike
            known[shape] = narrowest_web_mm(shapes.polygon(*shape))
        worst = min(worst, (known[shape], piece.id))
    web, name = worst
    piece = next(p for p in (*slices.pieces, *insets) if p.id == name)
    limit = body.rules.least_web_mm
    ok = web >= limit - 2 * WEB_STEP_MM
    text = f"narrowest web {web:.1f} mm, in {name}; at least {limit:.1f} mm asked"
    at = _spot(piece, _neck(shapes.polygon(piece.outline, piece.holes), web))
    return (Check("web", "ok" if ok else "fail", text, round(web, 2), limit, at),)


def _neck(wood: Polygon, web_mm: float) -> Place:
    """Return where a piece is as narrow as `web_mm`: between the parts that it falls into when it is worn so far."""
    parts = shapes.parts_of(wood.buffer(-web_mm / 2 - WEB_STEP_MM, quad_segs=4), 1e-6)
    if len(parts) < 2:
        last = wood.buffer(-max(web_mm / 2 - WEB_STEP_MM, 0.0), quad_segs=4)
        return (wood if last.is_empty else last).representative_point()
    ends = [nearest_points(a, b) for a, b in itertools.combinations(parts, 2)]
    a, b = min(ends, key=lambda pair: (round(pair[0].distance(pair[1]), 6), pair[0].x, pair[0].y))
    return Place((a.x + b.x) / 2, (a.y + b.y) / 2)


def _spot(piece: Piece, place: Place) -> tuple[Spot, ...]:
    """Return a place in a layer; an inset stands across the layers and has none."""
    return () if piece.layer is None else (Spot(piece.layer, round(place.x, 2), round(place.y, 2)),)


def _holes(pieces: tuple[Piece, ...]) -> Check:
    least: tuple[float, str, tuple[Spot, ...]] = (float("inf"), "", ())
    for piece in pieces:
        for hole in piece.holes:
            shape = Polygon(hole)
            centre = polylabel(shape, tolerance=0.05)
            size = 2 * shape.exterior.distance(centre)
            if (size, piece.id) < least[:2]:
                least = (size, piece.id, _spot(piece, centre))
    if not least[1]:
        return Check("smallest-hole", "ok", "no closed holes", None, LEAST_HOLE_MM)
    size, name, at = least
    text = f"smallest hole {size:.1f} mm across, in {name}; {LEAST_HOLE_MM:.0f} mm is what such a laser cuts cleanly"
    level = "ok" if size >= LEAST_HOLE_MM - 0.1 else "warn"
    return Check("smallest-hole", level, text, round(size, 2), LEAST_HOLE_MM, at)


# --- what holds together ----------------------------------------------------------------------------------------


def _components(count: int, links: list[tuple[int, int]]) -> list[int]:
    parent = list(range(count))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    for a, b in links:
        parent[max(root(a), root(b))] = min(root(a), root(b))
    return [root(i) for i in range(count)]


def _glue(slices: Slices) -> Check:
    """Every piece needs enough lap with its neighbours, and the stack must be one body in the end."""
    index = {p.id: i for i, p in enumerate(slices.pieces)}
    shape = [shapes.polygon(p.outline, p.holes) for p in slices.pieces]
    lap = [0.0] * len(shape)
    links = []
    for below, above in itertools.pairwise(slices.layers):
        for a in (index[name] for name in below.pieces):
            for b in (index[name] for name in above.pieces):
                area = shape[a].intersection(shape[b]).area
                lap[a], lap[b] = lap[a] + area, lap[b] + area
                if area > LEAST_JOINT_MM2:
                    links.append((a, b))
    bodies = len(set(_components(len(shape), links)))
    least = min(range(len(shape)), key=lambda i: (lap[i], i))
    ok = bodies == 1 and lap[least] >= LEAST_GLUE_MM2
    text = f"least glued lap {lap[least] / 100:.1f} cm², of {slices.pieces[least].id}"
    if bodies > 1:
        text += f"; the stack falls into {bodies} bodies"
    at = _spot(slices.pieces[least], shape[least].representative_point())
    return Check("glue", "ok" if ok else "fail", text, round(lap[least], 1), LEAST_GLUE_MM2, at)


# --- where the air goes -----------------------------------------------------------------------------------------


def _plugs(body: Body, kind: str) -> list[tuple[BaseGeometry, float, float]]:
    """Return what closes an opening: the inset in its seat, or a thin wall across the mouth."""
    if kind == "mouth":
        rim = shapes.polygon(body.plan.outline)
        skin = rim.buffer(1.0).difference(rim.buffer(-1.0, join_style="mitre"))
        wide = max(p.to_z_mm for p in body.air)
        guide = unary_union([shapes.polygon(p.outline) for p in body.air if p.kind in ("guide", "mouth-lip")])
        return [(guide.buffer(0.5).intersection(skin), 0.0, wide)]
    kinds = {"driver": ("driver-seat", "driver-screw"), "terminal": ("terminal-seat",)}[kind]
    if kind == "driver" and body.rules.stack == "facing":
        kinds = ("driver-bore", "driver-screw", "driver-recess")
    return [
        (shapes.polygon(p.outline).buffer(0.02, join_style="mitre"), p.from_z_mm, p.to_z_mm)
        for p in body.air
        if p.kind in kinds
    ]


def flood(body: Body, slices: Slices, plugged: tuple[str, ...]) -> bool:
    """Return whether air can get from the chamber to the outside with the named openings plugged.

    The air of each layer falls into connected parts; two parts in neighbouring layers are joined where they
    overlap. Outside is a margin around the plan, and everything above and below the stack.
    """
    around = shapes.polygon(body.plan.outline).buffer(10.0, join_style="mitre")
    wood = {p.id: shapes.polygon(p.outline, p.holes) for p in slices.pieces}
    plugs = [plug for kind in plugged for plug in _plugs(body, kind)]
    cells: list[Polygon] = []
    of_layer: list[list[int]] = [[0]]
    cells.append(around)
    for layer in slices.layers:
        middle = layer.z_mm + layer.thickness_mm / 2
        solid = [wood[name] for name in layer.pieces] + [g for g, low, high in plugs if low < middle < high]
        parts = shapes.parts_of(around.difference(unary_union(solid)), 1e-2)
        of_layer.append(list(range(len(cells), len(cells) + len(parts))))
        cells += parts
    of_layer.append([len(cells)])
    cells.append(around)
    links = [(0, len(cells) - 1)]
    for below, above in itertools.pairwise(of_layer):
        tree = STRtree([cells[b] for b in above])
        for a in below:
            for k in tree.query(cells[a]):
                if cells[a].intersection(cells[above[int(k)]]).area > 1e-2:
                    links.append((a, above[int(k)]))
    root = _components(len(cells), links)
    inside = shapes.polygon(body.fold.chamber).representative_point()
    low, high = body.levels.chamber
    middle_layer = of_layer[1 + (low + high) // 2]
    start = [c for c in middle_layer if cells[c].contains(inside)]
    return any(root[c] == root[0] for c in start)


def _air_ways(body: Body, slices: Slices) -> tuple[Check, ...]:
    kinds = tuple(opening.kind for opening in body.openings)
    checks = []
    tight = not flood(body, slices, kinds)
    text = (
        f"air leaves only through {', '.join(kinds[:-1])} and {kinds[-1]} plate"
        if tight
        else "air finds a way out beside the named openings"
    )
    checks.append(Check("leak", "ok" if tight else "fail", text))
    for kind in kinds:
        others = tuple(k for k in kinds if k != kind)
        open_way = flood(body, slices, others)
        text = f"the chamber reaches the outside through the {kind}" if open_way else f"the {kind} leads nowhere"
        checks.append(Check(f"way-{kind}", "ok" if open_way else "fail", text))
    return tuple(checks)
