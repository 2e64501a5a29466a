"""Sheets to cut in tests: rings, plates and a machine, all invented."""

from __future__ import annotations

import math
import random

import shapely
from shapely.geometry import LineString, Polygon

from kerfwave.model.parts import Nest, Piece, Placement, Recipe, Ring, Sheet
from kerfwave.model.spec import Laser, Machine, SheetStock, Stock

LASER = Laser(optical_power_w=5.5, wavelength_nm=450.0, spot_mm=0.08)
MACHINE = Machine(
    name="open frame",
    laser=LASER,
    bed_width_mm=400.0,
    bed_height_mm=400.0,
    max_feed_mm_min=6000.0,
    rapid_feed_mm_min=6000.0,
    acceleration_mm_s2=500.0,
    power_scale=1000.0,
)
STOCK = Stock("ply 6", "birch-plywood", "pf", 6.5, (6.35,), 680.0, (SheetStock(400.0, 400.0, 3),))
RECIPE = Recipe("ply 6", 100.0, 250.0, 3, 0.2, False, True, "Measured in a test.", 1.66)


def circle(x: float, y: float, radius: float, sagitta: float = 0.01) -> Ring:
    """Counter-clockwise, sampled to `sagitta`."""
    count = max(12, math.ceil(math.pi / math.acos(1 - sagitta / radius)))
    return tuple(
        (x + radius * math.cos(2 * math.pi * k / count), y + radius * math.sin(2 * math.pi * k / count))
        for k in range(count)
    )


def rectangle(x: float, y: float, width: float, height: float) -> Ring:
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def rounded(x: float, y: float, width: float, height: float, radius: float) -> Ring:
    shape = Polygon(rectangle(x + radius, y + radius, width - 2 * radius, height - 2 * radius))
    chords = math.ceil(math.pi / 4 / math.acos(1 - 0.01 / radius))
    return tuple(shape.buffer(radius, quad_segs=chords).exterior.coords)[:0:-1]


def piece(name: str, outline: Ring, *holes: Ring) -> Piece:
    return Piece(name, "layer", outline, tuple(hole[::-1] for hole in holes), 6.35)


def nested(*placements: Placement, width: float = 400.0, height: float = 400.0, number: int = 1) -> Nest:
    return Nest((Sheet(number, width, height, 5.0, 0.0, None),), placements, 0.5, 0.5, 1)


def lying(*pieces: Piece, **size: float) -> Nest:
    """Pieces on the sheet where their own coordinates put them."""
    return nested(*(Placement(p.id, 1, 0.0, 0.0, 0.0) for p in pieces), **size)


def demo() -> tuple[Nest, tuple[Piece, ...]]:
    """One full sheet: a trapezoid frame with others in its window, rings, a folded wall, a plate; turned, flipped."""
    trapezoid = ((0.0, 0.0), (220.0, 0.0), (180.0, 160.0), (40.0, 160.0))
    window = ((16.0, 12.0), (204.0, 12.0), (171.0, 148.0), (49.0, 148.0))
    frame = piece("L01a", trapezoid, window)
    ring = piece(
        "driver-ring",
        circle(0, 0, 45.0),
        circle(0, 0, 33.0),
        *(circle(39.0 * math.cos(a), 39.0 * math.sin(a), 1.25) for a in (0.785, 2.356, 3.927, 5.498)),
    )
    plate = piece("terminal-plate", rounded(0, 0, 44, 24, 4), circle(12.5, 12, 3), circle(31.5, 12, 3))
    bay = Polygon(rounded(0, 0, 150, 120, 12)).difference(Polygon(rounded(20, 15, 50, 200, 15)))
    fold = piece("L02b", tuple(bay.exterior.coords)[:0:-1], rounded(85, 20, 45, 80, 10))
    wedge = piece("L03a", ((0, 0), (60, 5), (45, 55), (30, 20)))
    others = (
        Placement("L01a", 1, 8.0, 8.0, 0.0),
        Placement("driver-ring", 1, 120.0, 80.0, 20.0),
        Placement("terminal-plate", 1, 204.0, 176.0, 180.0, True),
        Placement("L02b", 1, 395.0, 20.0, 90.0),
        Placement("L03a", 1, 20.0, 240.0, 0.0),
        Placement("L03b", 1, 20.0, 300.0, 30.0),
        Placement("disc", 1, 200.0, 300.0, 0.0),
        Placement("core", 1, 120.0, 80.0, 0.0),
    )
    more = (
        piece("L03b", wedge.outline),
        piece("disc", circle(0, 0, 60), circle(0, 0, 20)),
        piece("core", circle(0, 0, 28), rectangle(-4, -4, 8, 8)),
    )
    return nested(*others), (frame, ring, plate, fold, wedge, *more)


def layout(seed: int) -> tuple[Nest, tuple[Piece, ...]]:
    """Up to nine cells of a sheet, each with a shape of its own, holes in it, and pieces in the holes."""
    draw = random.Random(seed)
    pieces: list[Piece] = []
    placements: list[Placement] = []

    def add(shape: Ring, cx: float, cy: float, *holes: Ring) -> None:
        name = f"P{len(pieces):02d}"
        pieces.append(piece(name, shape, *holes))
        turn = draw.choice([0.0, 90.0, 180.0, 270.0, 33.0])
        placements.append(Placement(name, 1, cx, cy, turn, draw.random() < 0.5))

    for cell in range(draw.randint(1, 9)):
        cx, cy = 70.0 + 120 * (cell % 3), 70.0 + 120 * (cell // 3)
        size = draw.uniform(16, 44)
        kind = draw.choice(["disc", "frame", "rounded", "wedge", "cross"])
        if kind == "disc":
            add(circle(0, 0, size), cx, cy, circle(0, 0, size / 2), circle(0, size * 0.75, size * 0.05))
            if size > 25:
                add(circle(0, 0, size / 2 - 3), cx, cy, circle(0, 0, 2))
        elif kind == "frame":
            add(rectangle(-size, -size, 2 * size, 2 * size), cx, cy, rectangle(4 - size, 4 - size, *[2 * size - 8] * 2))
            inner = size * 0.4
            add(rectangle(-inner, -inner, 2 * inner, 2 * inner), cx, cy, circle(0, 0, 1.0))
        elif kind == "rounded":
            add(rounded(-size, -size / 2, 2 * size, size, 5), cx, cy, rounded(-5, -4, 10, 8, 2))
        elif kind == "wedge":
            add(((-size, -size), (size, -size / 2), (0.1 * size, size), (-0.2 * size, 0)), cx, cy)
        else:
            arms = Polygon(rectangle(-size, -5, 2 * size, 10)) | Polygon(rectangle(-6, -size, 12, 2 * size))
            add(tuple(arms.exterior.coords)[:0:-1], cx, cy)
    return nested(*placements), tuple(pieces)


def burnt(lines: list[LineString], kerf_mm: float) -> Polygon:
    """What a round beam takes away that runs along `lines`.

    Passes that retrace each other are merged first: GEOS 3.14 may fill the ring that such a line goes round.
    """
    swaths = [shapely.union_all(line).buffer(kerf_mm / 2, quad_segs=8) for line in lines]
    for swath, line in zip(swaths, lines, strict=True):
        assert swath.area <= kerf_mm * line.length + math.pi * kerf_mm**2
    return shapely.union_all(swaths)
