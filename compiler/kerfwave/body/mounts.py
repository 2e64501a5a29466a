"""How a body stands or hangs: marks for stick-on feet under the floor, keyholes in the back for screws in a wall.

Both are air that leads nowhere: a foot's mark is a small hole through the first layer with wood over it, a keyhole a
pocket with wood behind, over and under it. Where there is no such wood, none is cut and the check says what it takes.

```
  keyhole, upright stack (seen on the back)        facing stack (seen on the back)
      +-----+   cap: the head's pocket alone           .--.
      |+---+|   slot: the shank's width in the lip    ( || )   slot in the last layers, pocket before them
      ||   ||         before the head's pocket        ( || )
      |+---+|                                          |  |
      |     |   entry: the head's width               ( () )   entry
      +-----+                                          `--'
```
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left

import shapely
from shapely import affinity
from shapely.geometry import MultiPoint, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from kerfwave.body import path, shapes
from kerfwave.body.rules import BodyRules, LayerCount
from kerfwave.model.parts import AirPrism, Check, Point, Ring
from kerfwave.model.spec import Plan

MARK_MM = 2.0  # of the hole that marks a foot's middle: the smallest that such a laser cuts cleanly
FOOT_EDGE_MM = 2.0  # from a foot to the edge of the floor
HEAD = 2.0  # of a countersunk wood screw, head over shank (from memory)
SHANK_PLAY_MM, HEAD_PLAY_MM = 0.6, 1.0  # on the diameter: goes over the screw by hand (own choice)
HEAD_DEEP = 0.75  # height of a countersunk head over the shank's diameter (from memory), and ...
HEAD_DEEP_PLAY_MM = 1.5  # ... what the screw may stand out too far
LEAST_LIP_MM = 3.0  # wood that hangs on the shank, whatever web is asked for (own choice: half a 6 mm sheet)
HANG_SCREWS = 2
LEAST_APART_MM = 40.0  # of two keyholes: nearer, the body swings (own choice)
MOST_KG_A_SCREW = 5.0  # common practice for a light plug in plasterboard; the wall's own fixing advice goes before it
STEP_MM = 2.0
OVERLAP_MM = 0.05


def mounts(
    plan: Plan, skin: Ring, rules: BodyRules, counts: LayerCount, air: tuple[AirPrism, ...]
) -> tuple[AirPrism, ...]:
    """Return marks for feet and keyholes, as far as they are asked for and there is wood for them."""
    return (*_feet(skin, rules, counts, air), *_keyholes(plan, skin, rules, counts, air))


def _wood(skin: Ring, counts: LayerCount, air: tuple[AirPrism, ...], layer: int) -> BaseGeometry:
    """Return the wood of a layer, counted from 0."""
    low, high = counts.z_mm[layer], counts.z_mm[layer + 1]
    crossing = [
        shapes.polygon(p.outline, p.holes) for p in air if min(p.to_z_mm, high) - max(p.from_z_mm, low) > shapes.EPS
    ]
    return shapes.polygon(skin).difference(unary_union(crossing))


def _common_wood(skin: Ring, counts: LayerCount, air: tuple[AirPrism, ...], layers: range) -> BaseGeometry:
    """Return the wood that all of some layers share."""
    found: BaseGeometry = shapes.polygon(skin)
    for layer in layers:
        found = found.intersection(_wood(skin, counts, air, layer))
    return found


# --- feet -------------------------------------------------------------------------------------------------------


def _feet(skin: Ring, rules: BodyRules, counts: LayerCount, air: tuple[AirPrism, ...]) -> tuple[AirPrism, ...]:
    """Return four marks through the first layer, as near to four corners as the second one covers them."""
    if rules.foot_mm is None:
        return ()
    on = shapes.polygon(skin).buffer(-(rules.foot_mm / 2 + FOOT_EDGE_MM), quad_segs=16)
    covered = _wood(skin, counts, air, 1).buffer(-(MARK_MM / 2 + rules.least_web_mm), quad_segs=16)
    spots = _grid(on.intersection(covered), STEP_MM)
    if not spots:
        return ()
    ways = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    places = dict.fromkeys(max(spots, key=lambda s: (round(s[0] * x + s[1] * y, 6), s)) for x, y in ways)
    return tuple(
        AirPrism(f"foot {n}", "foot", path.circle(x, y, MARK_MM), (), 0.0, counts.z_mm[1])
        for n, (x, y) in enumerate(places, 1)
    )


def check_feet(air: tuple[AirPrism, ...], skin: Ring, foot_mm: float) -> Check:
    """Return how far inside the feet's outline the middle of the plan lies: how safely the body stands."""
    spots = [shapes.polygon(p.outline).centroid for p in air if p.kind == "foot"]
    stood = MultiPoint(spots).convex_hull
    middle = shapes.polygon(skin).centroid
    inside = stood.boundary.distance(middle) if isinstance(stood, Polygon) and stood.contains(middle) else 0.0
    size = math.sqrt(shapes.polygon(skin).area)
    text = (
        f"{len(spots)} feet of {foot_mm:g} mm; the middle of the body lies {inside:.0f} mm inside the line round them"
    )
    # A quarter of the plan's size: then it takes a good push to tip it (own choice).
    level = "ok" if inside >= 0.25 * size else "warn"
    text += "" if level == "ok" else ": it tips easily, so stand it against something or hang it"
    return Check("feet", level, text, round(inside, 1), round(0.25 * size, 1))


def _grid(room: BaseGeometry, step: float) -> list[Point]:
    """Return the points of a grid about the middle of the plan that lie in a room."""
    if room.is_empty:
        return []
    x0, y0, x1, y1 = room.bounds
    xs = [step * k for k in range(math.ceil(x0 / step), math.floor(x1 / step) + 1)]
    ys = [step * k for k in range(math.ceil(y0 / step), math.floor(y1 / step) + 1)]
    spots = [(x, y) for y in ys for x in xs]
    shapely.prepare(room)
    return [s for s, inside in zip(spots, shapely.covers(room, shapely.points(spots)), strict=True) if inside]


# --- keyholes ---------------------------------------------------------------------------------------------------


def sizes_mm(rules: BodyRules) -> tuple[float, float, float, float]:
    """Return the width of the slot and of the entry, how deep the pocket is, and how thick the lip before it."""
    screw = rules.hang_mm or 0.0
    head = HEAD * screw + HEAD_PLAY_MM
    return screw + SHANK_PLAY_MM, head, HEAD_DEEP * screw + HEAD_DEEP_PLAY_MM, max(LEAST_LIP_MM, rules.least_web_mm)


def _keyholes(
    plan: Plan, skin: Ring, rules: BodyRules, counts: LayerCount, air: tuple[AirPrism, ...]
) -> tuple[AirPrism, ...]:
    if rules.hang_mm is None:
        return ()
    if rules.stack == "facing":
        return _in_the_last_layers(skin, rules, counts, air)
    return _in_the_back_wall(plan, skin, rules, counts, air) if "back" in plan.faces else ()


def _in_the_back_wall(
    plan: Plan, skin: Ring, rules: BodyRules, counts: LayerCount, air: tuple[AirPrism, ...]
) -> tuple[AirPrism, ...]:
    """Return two keyholes side by side in the back of an upright body, as high as they go."""
    slot, head, deep, lip = sizes_mm(rules)
    a, b = shapes.face_line(plan, "back")
    z, web = counts.z_mm, rules.least_web_mm
    for entry in range(counts.total - 3, 0, -1):
        neck = bisect_left(z, z[entry] + head - shapes.EPS)  # the first layer of the slot
        cap = bisect_left(z, z[neck] + head - shapes.EPS) if neck <= counts.total else counts.total
        end = bisect_left(z, z[cap] + (head - slot) / 2 - shapes.EPS) if cap <= counts.total else counts.total
        if end >= counts.total or z[cap] < counts.height_mm / 2:
            continue
        # Wood behind the pocket, beside it, and in the layers under and over it.
        wood = shapes.in_face_frame(_common_wood(skin, counts, air, range(entry - 1, end + 1)), a, b)
        room = math.dist(a, b)
        half = head / 2 + web
        columns = [
            along
            for along in (STEP_MM * k for k in range(math.ceil(half / STEP_MM), int((room - half) / STEP_MM) + 1))
            if wood.covers(box(along - half, 0.01, along + half, lip + deep + web))
        ]
        if columns and columns[-1] - columns[0] >= LEAST_APART_MM:
            found = []
            for n, along in enumerate((columns[0], columns[-1]), 1):

                def cut(width: float, start: float, stop: float, at: float = along) -> Ring:
                    return shapes.face_rectangle(a, b, at, width, start, stop)

                whole, pocket = cut(head, -OVERLAP_MM, lip + deep), cut(head, lip, lip + deep)
                shank = cut(slot, -OVERLAP_MM, lip + OVERLAP_MM)
                name = f"keyhole {n}"
                found += [
                    AirPrism(f"{name} entry", "keyhole", whole, (), z[entry], z[neck]),
                    AirPrism(f"{name} slot", "keyhole", shank, (), z[neck], z[cap]),
                    AirPrism(f"{name} pocket", "keyhole", pocket, (), z[neck], z[end]),
                ]
            return tuple(found)
    return ()


def _in_the_last_layers(
    skin: Ring, rules: BodyRules, counts: LayerCount, air: tuple[AirPrism, ...]
) -> tuple[AirPrism, ...]:
    """Return two keyholes side by side in the back of a facing body, as high as they go."""
    slot, head, deep, lip = sizes_mm(rules)
    z = counts.z_mm
    lips = next((k for k in range(counts.total, 0, -1) if z[-1] - z[k - 1] >= lip - shapes.EPS), 0) - 1
    pockets = next((k for k in range(lips, 0, -1) if z[lips] - z[k - 1] >= deep - shapes.EPS), 0) - 1
    if pockets < 1:
        return ()
    wood = _common_wood(skin, counts, air, range(pockets - 1, counts.total))
    # Where the middle of an entry may be: wood for all of the stadium above it, and a web round it.
    clear = wood.buffer(-(head / 2 + rules.least_web_mm), quad_segs=16)
    room = clear.intersection(affinity.translate(clear, 0.0, -head))
    middle = shapes.polygon(skin).centroid.y
    rows = [list(row) for _, row in itertools.groupby(_grid(room, STEP_MM), key=lambda spot: spot[1])]
    for row in reversed(rows):
        (x0, y), (x1, _) = row[0], row[-1]
        if x1 - x0 < LEAST_APART_MM or y + head < middle:
            continue
        found = []
        for n, x in enumerate((x0, x1), 1):
            entry = Polygon(path.circle(x, y, head))
            top = Polygon(path.circle(x, y + head, slot))
            hole = unary_union([entry, top, box(x - slot / 2, y, x + slot / 2, y + head)])
            tip = Polygon(path.circle(x, y + head, head))
            pocket = unary_union([entry, tip, box(x - head / 2, y, x + head / 2, y + head)])
            name = f"keyhole {n}"
            found += [
                AirPrism(f"{name} slot", "keyhole", shapes.rings_of(hole)[0], (), z[lips], z[-1]),
                AirPrism(f"{name} pocket", "keyhole", shapes.rings_of(pocket)[0], (), z[pockets], z[lips]),
            ]
        return tuple(found)
    return ()


def apart_mm(air: tuple[AirPrism, ...]) -> float:
    """Return how far the two screws are from each other."""
    places = [shapes.polygon(p.outline).centroid for p in air if p.kind == "keyhole" and p.name.endswith("slot")]
    return float(places[0].distance(places[1])) if len(places) == 2 else 0.0


def hung_below_mm(air: tuple[AirPrism, ...], stack: str, top_mm: float) -> float:
    """Return how far below the body's top the screws are when it hangs."""
    slot = next(p for p in air if p.kind == "keyhole" and p.name.endswith("slot"))
    return top_mm - (max(y for _, y in slot.outline) if stack == "facing" else slot.to_z_mm)


def check_hang(air: tuple[AirPrism, ...], rules: BodyRules, faces: tuple[str, ...]) -> Check:
    """Say whether there are keyholes, and if not, what they take; the value is the distance between them."""
    _, head, deep, lip = sizes_mm(rules)
    web = rules.least_web_mm
    if any(p.kind == "keyhole" for p in air):
        apart = apart_mm(air)
        text = (
            f"two keyholes {apart:.0f} mm apart for screws of {rules.hang_mm:g} mm, with {lip:g} mm of wood before the "
            f"head's pocket and at least {web:g} mm of wood behind and beside it"
        )
        return Check("hang", "ok", text, round(apart, 1), LEAST_APART_MM)
    where = "the upper half of the back"
    wood = lip + deep + web
    if rules.stack == "facing":  # in whole layers, and one behind the pocket
        t = rules.thickness_mm
        wood = t * (math.ceil(lip / t - shapes.EPS) + math.ceil(deep / t - shapes.EPS) + 1)
    need = f"{wood:.1f} mm of wood at two places of {head + 2 * web:.1f} mm, {LEAST_APART_MM:g} mm apart"
    if rules.stack == "upright" and "back" not in faces:
        return Check("hang", "fail", "no face of the plan is called back, so there is none to hang it by", 0.0)
    text = f"no room for keyholes: in {where} they take {need}; wall_mm: {wood:.1f} gives it"
    return Check("hang", "fail", text, 0.0, LEAST_APART_MM)


def check_load(mass_kg: float, screws: int) -> Check:
    """Return the mass on each screw, against what a light plug in a hollow wall is usually sold for."""
    each = mass_kg / screws
    text = (
        f"{each:.2f} kg of wood on each of {screws} screws, and the driver's mass on top; what screw and plug hold "
        "depends on the wall: go by the advice for its fixings"
    )
    level = "ok" if each <= MOST_KG_A_SCREW else "warn"
    return Check("hang-load", level, text, round(each, 3), MOST_KG_A_SCREW)
