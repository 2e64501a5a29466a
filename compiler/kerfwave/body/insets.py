"""The pieces that stand across the layers: the ring that carries the driver, the plate that carries the terminals.

Where the flange shall lie in a recess, a collar of the ring's size comes in front of it (`recess`).

Each is drawn in its own plane about its centre, x along the face and y along the stack, seen from outside.
"""

from __future__ import annotations

from kerfwave.body import path, shapes
from kerfwave.body.air import Body, screw_places
from kerfwave.model.parts import Piece, Ring
from kerfwave.model.spec import Driver, Terminals


def _rectangle(width: float, height: float) -> Ring:
    x, y = width / 2, height / 2
    return ((-x, -y), (x, -y), (x, y), (-x, y))


def insets(body: Body, driver: Driver, terminals: Terminals, *, grain: str | None = None) -> tuple[Piece, ...]:
    """Return the insets of a body at finished size: the seat less the play on every side."""
    rules = body.rules
    t, play = rules.thickness_mm, 2 * rules.fit_mm
    plate_height = body.counts.between_mm(body.levels.plate) - play
    half = terminals.spacing_mm / 2
    posts = (path.circle(-half, 0.0, terminals.post_hole_mm), path.circle(half, 0.0, terminals.post_hole_mm))
    found = [_piece("T1", "terminal-plate", _rectangle(rules.plate_width_mm, plate_height), posts, t, grain)]
    if rules.stack == "upright":
        height = body.counts.between_mm(body.levels.seat) - play
        screws = tuple(path.circle(x, y, driver.screw_hole_mm) for x, y in screw_places(driver))
        holes = (path.circle(0.0, 0.0, driver.cutout_mm), *screws)
        outline = _rectangle(rules.seat_width_mm - play, height)
        found.insert(0, _piece("R1", "driver-ring", outline, holes, t, grain))
        if rules.recess_mm is not None:
            flange = (path.circle(0.0, 0.0, rules.recess_mm),)
            found.insert(1, _piece("R2", "driver-collar", outline, flange, t, grain))
    return tuple(found)


def _piece(
    name: str, role: str, outline: Ring, holes: tuple[Ring, ...], thickness_mm: float, grain: str | None
) -> Piece:
    turned, inner = shapes.rings_of(shapes.polygon(outline, holes))
    return Piece(name, role, turned, inner, thickness_mm, grain=grain)
