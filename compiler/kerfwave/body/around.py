"""Lanes along the walls, about the chamber: they follow several faces of the plan, each lane within the one before.

```
  +---------------------------+      seen with the walls on the right hand of whoever walks lane 1; here it walks
  |  lane 2b <--------------  |      along two walls, turns outwards about the tip of the septum and comes back
  |  ,======================. |      along the faces. Corners are bends about the separator's round edge, so the
  | |  .--------> lane 1b  ) ||      duct is as wide there as everywhere.
  | |  |  throat, chamber     |
  |v|  |lane 1a               |
```

Everything is laid out with the outline walked counter-clockwise, the room on the left; a guide that goes the other way
round is laid out in the mirrored plan.
"""

from __future__ import annotations

import itertools
import math
import string
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from shapely import affinity
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from kerfwave.body import path, shapes
from kerfwave.body.keys import FoldKey
from kerfwave.body.lanes import climb, end_walls, turn_radii, turn_reaches
from kerfwave.body.path import Run
from kerfwave.body.places import TOO_SHORT, CannotFold, Elsewhere, clear_of_corners
from kerfwave.body.rooms import Rooms, wall_sizes
from kerfwave.body.rules import BodyRules
from kerfwave.model.parts import Point
from kerfwave.model.spec import Plan

SLACK_MM = 3.0  # of the stretch of wall that is left to the terminals: they are tried every 2 mm
SAME_WAY = 1e-3  # sine of the angle between two faces below which they are one
OUTSIDE_MM = 0.3  # by which a lane drawn with coarse arcs may seem to leave the room


@dataclass(frozen=True, slots=True)
class _Wall:
    """An edge of the outline as it is walked, the room on its left; s counts along it, t into the room."""

    edge: int
    face: str
    x: float
    y: float
    heading_deg: float
    length_mm: float
    thick_mm: float

    def at(self, s: float, t: float) -> Point:
        """Return the place so far along the wall and so deep."""
        c, d = math.cos(math.radians(self.heading_deg)), math.sin(math.radians(self.heading_deg))
        return self.x + c * s - d * t, self.y + d * s + c * t

    def meets(self, other: _Wall, t: float, other_t: float) -> float:
        """Return at which s the line so deep behind this wall meets one behind another wall."""
        px, py = self.at(0.0, t)
        qx, qy = other.at(0.0, other_t)
        one, two = math.radians(self.heading_deg), math.radians(other.heading_deg)
        return ((qx - px) * math.sin(two) - (qy - py) * math.cos(two)) / math.sin(two - one)

    def turn_to(self, other: _Wall) -> float:
        """Return by how many degrees one turns to the left from this wall into another."""
        return (other.heading_deg - self.heading_deg + 180.0) % 360.0 - 180.0


@dataclass(frozen=True, slots=True)
class _Way:
    """The walls that the lanes follow, with those before and after them, and how deep the lanes lie behind them."""

    before: _Wall
    walls: tuple[_Wall, ...]
    after: _Wall
    widths: tuple[float, ...]
    depths: tuple[float, ...]  # of the lanes' middles, from the walls' inner faces, lane 1 (the innermost) first
    septum: float
    deep: float  # the chamber's, likewise

    @property
    def all_round(self) -> bool:
        """Whether the last wall leads to the first."""
        return self.after.edge == self.walls[0].edge


def lay_around(
    rooms: Rooms, terminal_face: str, key: FoldKey, least_length_mm: float
) -> tuple[tuple[Run, ...], Callable[[], BaseGeometry]]:
    """Return lanes along walls in the plan, the last drawn well past any wall, and a call for what they leave.

    Where the terminals share a face with the lanes, a stretch of it is left to them at the end away from the mouth.

    Raises:
        CannotFold: if there is no room for them, or they would be shorter than asked, with the reason.
    """
    _check_faces(rooms.plan, rooms.rules, key, terminal_face)
    way = _way(rooms, terminal_face, key)
    if way.all_round and len(way.widths) > 1:
        raise CannotFold("only one lane can go all the way round")
    longest = key.lanes * sum(wall.length_mm for wall in way.walls) + rooms.rules.front_wall_mm
    if key.storeys * longest < least_length_mm:
        raise CannotFold(TOO_SHORT)
    gap = _gap(rooms.plan, rooms.rules, way, terminal_face)
    turns = _turns(rooms, terminal_face, key, way, gap)
    runs = _runs(way, turns)
    if key.storeys > 1:
        throat, lanes = runs[:2], runs[2:]
        runs = (*throat, *climb(((lanes, *_ends(rooms, terminal_face, key, way, lanes)),) * key.storeys))
    room = _turned(rooms.room(terminal_face), key)
    taken = _taken(way, turns, gap)
    if shapes.convex_ring(room) is None:
        _check_inside(rooms, terminal_face, key, runs)
    return path.mirrored(runs) if key.flip_u else runs, lambda: _turned(room.difference(taken), key)


def _turned(room: BaseGeometry, key: FoldKey) -> BaseGeometry:
    """Return the room as it is walked, or back again."""
    return affinity.scale(room, -1.0, 1.0, origin=(0, 0)) if key.flip_u else room


# --- the walls ---------------------------------------------------------------------------------------------------


def _way(rooms: Rooms, terminal_face: str, key: FoldKey) -> _Way:
    plan, rules = rooms.plan, rooms.rules
    sizes, count = wall_sizes(rules, terminal_face), len(plan.outline)

    def wall(edge: int) -> _Wall:
        edge %= count
        a, b = plan.outline[edge], plan.outline[(edge + 1) % count]
        if key.flip_u:
            a, b = (-b[0], b[1]), (-a[0], a[1])
        thick, face = sizes.get(plan.faces[edge], rules.wall_mm), plan.faces[edge]
        heading = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
        return _Wall(edge, face, *a, heading, math.dist(a, b), thick)

    edges = key.walls[::-1] if key.flip_u else key.walls
    step = -1 if key.flip_u else 1
    walls = tuple(wall(edge) for edge in edges)
    widths, septum = key.widths_mm[: key.lanes], rules.separator_mm
    if any(abs(a - b) > septum for a, b in itertools.pairwise(widths)):
        raise CannotFold("neighbouring lanes differ by more than the separator's thickness")
    # A turn from a wider lane within would else bulge past the outermost lane's far side.
    spare = max(0.0, (widths[-2] - widths[-1]) / 2) if len(widths) > 1 else 0.0
    depths = [spare + sum(widths[i + 1 :]) + (len(widths) - 1 - i) * septum + w / 2 for i, w in enumerate(widths)]
    deep = depths[0] + widths[0] / 2 + septum
    found = _Way(wall(edges[0] - step), walls, wall(edges[-1] + step), widths, tuple(depths), septum, deep)
    ends = (found.before, *walls, found.after)
    for one, other in itertools.pairwise(ends):
        if abs(math.sin(math.radians(one.turn_to(other)))) < SAME_WAY:
            raise CannotFold("two faces in line have no corner between them")
    if found.before.turn_to(walls[0]) < 0.0 or walls[-1].turn_to(found.after) < 0.0:
        raise CannotFold("lanes along a wall would end at a corner that points inwards")
    return found


def _check_faces(plan: Plan, rules: BodyRules, key: FoldKey, terminal_face: str) -> None:
    """Raise CannotFold at once if lanes cover the terminals' face, or if the last leads out by a face that won't do."""
    count, step = len(plan.outline), -1 if key.flip_u else 1
    edges = key.walls[::-1] if key.flip_u else key.walls
    # The mouth is at the far end after an odd number of lanes; every storey comes back to where it began.
    at_far_end = key.lanes % 2 == 1 and key.storeys % 2 == 1
    out = plan.faces[(edges[-1] + step if at_far_end else edges[0] - step) % count]
    if rules.mouth_face not in ("auto", out):
        raise CannotFold(f"the last lane would lead out by the {out}, not by the {rules.mouth_face}")
    if rules.mouth_face == "auto" and out == "back" and rules.stack == "upright":
        raise CannotFold("the mouth would open at the back")
    if terminal_face in {plan.faces[edge] for edge in edges}:
        bare = edges[0] if at_far_end else edges[-1]
        # On several storeys the lanes need both their ends.
        if plan.faces[bare] != terminal_face or len(edges) == 1 or key.storeys > 1:
            raise Elsewhere("lanes cover the face of the terminals")


def _gap(plan: Plan, rules: BodyRules, way: _Way, terminal_face: str) -> float:
    """Return how much of the wall at the end away from the mouth is left to the terminals.

    There the chamber has to reach the wall beside the end wall, as deep as the posts, which may lean.
    """
    if all(wall.face != terminal_face for wall in way.walls):
        return 0.0
    at_start = len(way.widths) % 2 == 1
    wall, end = (way.walls[0], way.before) if at_start else (way.walls[-1], way.after)
    corner = math.radians(180.0 - (end.turn_to(wall) if at_start else wall.turn_to(end)))
    lean = 1.0 / math.tan(corner)  # how far the end wall comes inwards along this wall for each mm of depth
    post = rules.terminal_wall_mm + rules.post_depth_mm
    turn = wall.thick_mm + way.deep - way.septum / 2
    clear = max(0.0, clear_of_corners(plan, rules, wall.face)[0 if at_start else 1] - end.thick_mm)
    most = max(lean * rules.terminal_wall_mm, lean * post) - lean * turn
    return max(0.0, most) + clear + rules.plate_width_mm + 2 * rules.fit_mm + way.septum + SLACK_MM


# --- the lanes ---------------------------------------------------------------------------------------------------


def _turns(rooms: Rooms, terminal_face: str, key: FoldKey, way: _Way, gap: float) -> list[float]:
    """Return where the turns are centred along the end walls' s: the throat's, then one for each further lane."""
    radii, count = turn_reaches(way.widths, way.septum), len(way.widths)
    between = [(a + b) / 2 for a, b in itertools.pairwise(way.depths)]
    found = []
    for i, depth in enumerate((way.deep - way.septum / 2, *between)):
        at_start = i % 2 == 0
        wall = way.walls[0 if at_start else -1]
        room = rooms.beside(terminal_face, wall.edge, key.flip_u, radii[i])
        if i == 0 and way.all_round:
            room = _beside_last(rooms, terminal_face, key, way, radii[0])
        ends = shapes.across(room, wall.thick_mm + depth)
        if ends is None:
            raise CannotFold(f"no room for a turn {2 * radii[i]:.1f} mm across")
        left = gap if at_start == (count % 2 == 1) else 0.0
        # An end wall shorter than the lanes are deep ends them all the same: what lies past it is the chamber's.
        end = way.before if at_start else way.after
        limit = wall.meets(end, wall.thick_mm + depth, end.thick_mm + radii[i])
        found.append(max(ends[0], limit) + left if at_start else min(ends[1], limit) - left)
    # Below its turn the throat goes straight on to the chamber, beside a wall that may lean inwards.
    wall, plain = way.walls[0], rooms.beside(terminal_face, way.walls[0].edge, key.flip_u)
    deep = wall.thick_mm + way.deep
    s_lo, _, s_hi, _ = plain.bounds
    beside = shapes.free_stretches(plain, s_lo, s_hi, deep - way.septum, deep)
    found[0] = max(found[0], *(lo + radii[0] for lo, hi in beside if lo - shapes.EPS <= found[0] <= hi), s_lo)
    return found


def _beside_last(rooms: Rooms, terminal_face: str, key: FoldKey, way: _Way, less_mm: float) -> BaseGeometry:
    """Return the room at the first wall's start, of a guide that goes all round, less the lane that leads out there."""
    last, first = way.walls[-1], way.walls[0]
    room = _turned(rooms.room(terminal_face), key)
    inner = last.thick_mm + way.deep
    end = last.at(last.meets(first, inner, 0.0), inner)
    lane = Polygon([last.at(0.0, 0.0), last.at(last.length_mm, 0.0), end, last.at(0.0, inner)])
    left = max(shapes.parts_of(room.difference(lane)), key=lambda part: round(part.area, 3), default=Polygon())
    worn = shapes.worn(left, less_mm, quad_segs=32) if not left.is_empty else left
    return shapes.in_face_frame(worn, (first.x, first.y), first.at(first.length_mm, 0.0))


def _stretches(way: _Way, lane: int, start: float | None, stop: float | None) -> Iterator[tuple[float, float, float]]:
    """Yield the straights of a lane in the walls' order: from s, to s, and by how many degrees the next corner turns.

    An end that is None lies well past any wall.
    """
    far = 2 * sum(wall.length_mm for wall in (way.before, *way.walls, way.after))
    radius = (way.widths[lane] + way.septum) / 2
    begin = start
    for k, wall in enumerate(way.walls):
        last = k == len(way.walls) - 1
        turn = 0.0 if last else wall.turn_to(way.walls[k + 1])
        tangent = radius * math.tan(math.radians(abs(turn)) / 2)
        end: float | None = stop
        following: float | None = None
        if not last:
            after, depth = way.walls[k + 1], way.depths[lane]
            end = wall.meets(after, wall.thick_mm + depth, after.thick_mm + depth) - tangent
            following = after.meets(wall, after.thick_mm + depth, wall.thick_mm + depth) + tangent
        one = begin if begin is not None else (end or 0.0) - far
        other = end if end is not None else one + far
        if other < one:
            raise CannotFold("the lanes along a wall are shorter than their turns")
        yield one, other, turn
        begin = following


def _runs(way: _Way, turns: list[float]) -> tuple[Run, ...]:
    """Return the guide, throat first, its last lane drawn well past any wall."""
    widths, count = way.widths, len(way.widths)
    radii = turn_radii(widths, way.septum)
    first = widths[0]
    steps: list[path.Step] = [
        ("throat", way.septum / 2, 0.0, first, first),
        ("bend 1", radii[0] * math.pi / 2, 90.0, first, first),
    ]
    for i, width in enumerate(widths):
        onwards = i % 2 == 0
        here, there = turns[i], turns[i + 1] if i + 1 < count else None
        found = list(_stretches(way, i, *((here, there) if onwards else (there, here))))
        corners = [turn for _, _, turn in found[:-1]]
        if not onwards:
            found, corners = found[::-1], [-turn for turn in corners[::-1]]
        radius = (width + way.septum) / 2
        for k, (one, other, _) in enumerate(found):
            letter = string.ascii_lowercase[k] if len(found) > 1 else ""
            steps.append((f"lane {i + 1}{letter}", other - one, 0.0, width, width))
            if k < len(corners):
                arc = radius * math.radians(abs(corners[k]))
                steps.append((f"corner {i + 1}{letter}", arc, corners[k], width, width))
        if i + 1 < count:
            half = -180.0 if onwards else 180.0
            steps.append((f"bend {i + 2}", radii[i + 1] * math.pi, half, width, widths[i + 1]))
    wall = way.walls[0]
    x, y = wall.at(turns[0] - radii[0], wall.thick_mm + way.deep)
    return path.chain(x, y, wall.heading_deg - 90.0, tuple(steps))


def _ends(rooms: Rooms, terminal_face: str, key: FoldKey, way: _Way, lanes: tuple[Run, ...]) -> tuple[float, float]:
    """Return how far lane 1 could begin before its throat's turn, and how far the last lane is from its end wall."""
    onwards = len(way.widths) % 2 == 1
    found = []
    for run, depth, width, wall, at_start in (
        (lanes[0], way.depths[0], way.widths[0], way.walls[0], True),
        (lanes[-1], way.depths[-1], way.widths[-1], way.walls[-1 if onwards else 0], not onwards),
    ):
        c, d = math.cos(math.radians(wall.heading_deg)), math.sin(math.radians(wall.heading_deg))
        s = (run.x - wall.x) * c + (run.y - wall.y) * d
        room = rooms.beside(terminal_face, wall.edge, key.flip_u)
        low, high = end_walls(room, wall.thick_mm + depth - width / 2, width, s)
        end, middle = way.before if at_start else way.after, wall.thick_mm + depth
        limits = [wall.meets(end, middle + side * width / 2, end.thick_mm) for side in (-1, 1)]
        found.append(s - max(low, *limits) if at_start else min(high, *limits) - s)
    return found[0], found[1]


# --- what they take ----------------------------------------------------------------------------------------------


def _taken(way: _Way, turns: list[float], gap: float) -> Polygon:
    """Return what lanes and separators take, walls included.

    Raises:
        CannotFold: if lanes along two walls would lie in each other.
    """
    outer: list[Point] = []
    inner: list[Point] = []
    chain, at_start = (way.before, *way.walls, way.after), len(way.widths) % 2 == 1
    for previous, wall, following in zip(chain, chain[1:], chain[2:], strict=False):
        deep = wall.thick_mm + way.deep
        begins, ends = wall is way.walls[0], wall is way.walls[-1]
        start, stop = 0.0, wall.length_mm
        start_in = wall.meets(previous, deep, 0.0 if begins else previous.thick_mm + way.deep)
        stop_in = wall.meets(following, deep, 0.0 if ends else following.thick_mm + way.deep)
        if gap and begins and at_start:
            start = start_in = _bare_mm(way, turns)
        if gap and ends and not at_start:
            stop = stop_in = _bare_mm(way, turns)
        # A corner between two walls counts once: computed two ways it would be two places.
        outer += [wall.at(start, 0.0), *([wall.at(stop, 0.0)] if ends else [])]
        inner += [wall.at(start_in, deep), *([wall.at(stop_in, deep)] if ends else [])]
    taken = Polygon(outer + inner[::-1])
    if not taken.is_valid:
        raise CannotFold("lanes along two walls would meet")
    return taken


def _bare_mm(way: _Way, turns: list[float]) -> float:
    """Return at which s the wall is bare, at the end away from the mouth: past the turns there and a separator."""
    reaches, at_start = turn_reaches(way.widths, way.septum), len(way.widths) % 2 == 1
    if at_start:
        return min(s - reach for s, reach in zip(turns[::2], reaches[::2], strict=True)) - way.septum
    return max(s + reach for s, reach in zip(turns[1::2], reaches[1::2], strict=True)) + way.septum


def _check_inside(rooms: Rooms, terminal_face: str, key: FoldKey, runs: tuple[Run, ...]) -> None:
    """Raise CannotFold if a lane leaves a room that has corners pointing inwards, before the last one leads out."""
    lanes = [run for run in runs[:-1] if run.storey == 0]
    for width in {run.width_in_mm for run in lanes}:  # of a turn that tapers only the wider half counts
        free = _turned(rooms.worn(terminal_face, width / 2 - OUTSIDE_MM), key)
        for run in lanes:
            steps = 8 if run.turn_deg else 1
            line = LineString([path.at(run, i / steps)[:2] for i in range(steps + 1)])
            if run.width_in_mm == width and not free.covers(line):
                raise CannotFold("a wall that points inwards would stand in a lane's way")
