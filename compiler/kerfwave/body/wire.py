"""The wire: a channel from the terminals to the driver in the chamber's wall, one layer high, just past halfway.

The terminals open into the chamber that the driver stands in, so the wire crosses no wall between two rooms: the
channel is a groove in the chamber's own wall, in which the wire lies still, away from cone and guide. It is open to the
chamber along its whole length, so it is no leak; what has to be sealed are the posts in their plate. A hole beside its
beginning takes a tie, so that a pull on the posts does not reach the driver.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as Place
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring, unary_union

from kerfwave.body import path, shapes
from kerfwave.body.air import OVERLAP_MM, Body
from kerfwave.model.parts import AirPrism, Check

PLAY_MM = 0.5  # channel over wire: goes in by hand, with a dab of glue every few centimetres (common practice)
TIE_MM = 2.5  # hole for a thin cable tie or waxed thread
TIE_REACH_MM = 40.0  # how far from the beginning of the channel it may be
CHORD_MM = 0.02  # by which a grown outline, made of chords, may stay behind
SHORTEST_MM = 10.0  # of a stretch of channel that is worth cutting


def wire_layer(layers: int) -> int:
    """Return the layer that carries the channel, from 1: the first past the middle of the stack."""
    return layers // 2 + 1


def with_wire(body: Body, wire_mm: float | None) -> Body:
    """Return the body with a channel for a wire of this diameter, as far as its walls have room; None: without."""
    if wire_mm is None:
        return body
    index = wire_layer(body.levels.middle)
    low, high = body.counts.z_mm[index - 1], body.counts.z_mm[index]
    channel = _channel(body, wire_mm + PLAY_MM, index)
    if not channel:
        return body
    prisms = [
        AirPrism(f"wire channel {k}", "wire", shapes.rings_of(part)[0], (), low, high)
        for k, part in enumerate(channel, 1)
    ]
    tie = _tie(body, channel, index)
    if tie is not None:
        prisms.append(AirPrism("wire tie", "wire-tie", path.circle(tie.x, tie.y, TIE_MM), (), low, high))
    return replace(body, air=(*body.air, *prisms))


@dataclass(frozen=True, slots=True)
class _Way:
    """One of the two ways round the chamber, and what of it can be cut."""

    line: LineString
    parts: tuple[Polygon, ...]


def _channel(body: Body, depth_mm: float, index: int) -> tuple[Polygon, ...]:
    """Return the channel beside the chamber in a layer, the part at the terminals first."""
    low, high = body.counts.z_mm[index - 1], body.counts.z_mm[index]
    rooms = [
        shapes.polygon(p.outline, p.holes)
        for p in body.air
        if p.kind == "chamber" and p.from_z_mm < high - shapes.EPS and p.to_z_mm > low + shapes.EPS
    ]
    if not rooms:
        return ()
    chamber = max(shapes.parts_of(unary_union(rooms)), key=lambda part: part.area)
    web = body.rules.least_web_mm
    own = ("chamber", "terminal-bore", "driver-bore")
    crossing = [p for p in _around(body, index) if p.kind not in own]
    others = [shapes.polygon(p.outline, p.holes) for p in crossing]
    room = shapes.polygon(body.skin).buffer(-web).difference(unary_union(others).buffer(web + CHORD_MM))
    ways = []
    for line in _ways(body, chamber):
        strip = line.buffer(depth_mm, cap_style="flat", join_style="mitre")
        raw = strip.difference(chamber.buffer(-OVERLAP_MM, join_style="mitre")).intersection(room)
        # What is left where there is no room for the whole depth holds no wire.
        full = raw.buffer(-0.45 * depth_mm).buffer(0.47 * depth_mm, join_style="mitre").intersection(raw)
        parts = shapes.parts_of(full, SHORTEST_MM * depth_mm)
        places = sorted((round(line.project(part.centroid), 3), k) for k, part in enumerate(parts))
        ways.append(_Way(line, tuple(parts[k] for _, k in places)))
    # Never across the guide's entry; the short way if any of it can be cut.
    guide = unary_union([part for p, part in zip(crossing, others, strict=True) if p.kind == "guide"])
    good = [way for way in ways if way.parts and way.line.distance(guide) > web]
    return min(good, key=lambda way: round(way.line.length, 3)).parts if good else ()


def _ways(body: Body, chamber: Polygon) -> tuple[LineString, LineString]:
    """Return both ways along the chamber's wall from the terminals to the driver."""
    ring = LineString([*chamber.exterior.coords])
    fold = body.fold
    start, end = (round(ring.project(Place(p.x_mm, p.y_mm)), 3) for p in (fold.terminal, fold.driver))
    low, high = min(start, end), max(start, end)
    direct = substring(ring, low, high)
    before, after = substring(ring, 0.0, low), substring(ring, high, ring.length)
    round_it = LineString([*before.coords[::-1], *after.coords[::-1][1:]])  # from low back to 0, and on down to high
    if start > end:
        return direct.reverse(), round_it.reverse()
    return direct, round_it


def _around(body: Body, index: int) -> list[AirPrism]:
    """Return the air in a layer and its neighbours."""
    z = body.counts.z_mm
    low, high = z[max(index - 2, 0)], z[min(index + 1, body.counts.total)]
    return [p for p in body.air if p.to_z_mm > low + shapes.EPS and p.from_z_mm < high - shapes.EPS]


def _tie(body: Body, channel: tuple[Polygon, ...], index: int) -> Place | None:
    """Return where a hole for a tie stands in wood all round, in this layer and its neighbours, near the terminals."""
    web = body.rules.least_web_mm
    near = [shapes.polygon(p.outline, p.holes) for p in _around(body, index)]
    wood: BaseGeometry = shapes.polygon(body.skin).difference(unary_union([*near, *channel]))
    room = wood.buffer(-(web + TIE_MM / 2 + CHORD_MM), quad_segs=32)
    if room.is_empty:
        return None
    terminal = Place(body.fold.terminal.x_mm, body.fold.terminal.y_mm)
    first = min(channel, key=lambda part: (round(part.distance(terminal), 3), part.wkt))
    beginning = min((Place(c) for c in first.exterior.coords), key=lambda c: (round(c.distance(terminal), 3), c.x, c.y))
    at = room.boundary.interpolate(room.boundary.project(beginning))
    spot = Place(round(at.x, 3), round(at.y, 3))
    return spot if spot.distance(beginning) <= TIE_REACH_MM else None


def check_wire(body: Body, wire_mm: float) -> Check:
    """Say where the wire runs, or that the walls are too thin for it. The value is the channel's length in mm."""
    found = [shapes.polygon(p.outline) for p in body.air if p.kind == "wire"]
    least = wire_mm + PLAY_MM + body.rules.least_web_mm
    if not found and min(way.length for way in _ways(body, shapes.polygon(body.fold.chamber))) < SHORTEST_MM:
        return Check("wire", "ok", "the terminals lie beside the driver: the wire needs no channel", 0.0)
    if not found:
        text = f"no room for a channel for the wire: the chamber's walls would need {least:.1f} mm; fix it with tape"
        return Check("wire", "warn", text, 0.0, SHORTEST_MM)
    length = sum(part.area for part in found) / (wire_mm + PLAY_MM)
    tie = any(p.kind == "wire-tie" for p in body.air)
    text = (
        f"the wire lies in a channel {length:.0f} mm long and {wire_mm + PLAY_MM:.1f} mm deep in the wall of the "
        f"chamber, in layer {wire_layer(body.levels.middle)}; open to the chamber all along, so it leads nowhere else"
    )
    text += ", with a hole for a tie" if tie else "; no room for a tie beside it, so knot the wire behind a dab of glue"
    return Check("wire", "ok", text, round(length, 1), SHORTEST_MM)
