"""Programs by hand: lines per second of the writer, and how the times of nest, paths, text and proof grow with pieces.

    python tests/bench/programs.py [COUNT ...]

Discs and plates with holes, 32, 100 and 320 of them, are packed on sheets of 400 mm; and the same ones, a third as
large, lie on a grid on one sheet, which is ordered, written and proved whole. Seconds of processor time. `formatted/s`
is the reference: how many of the program's numbers alone could be formatted in a second, as lines of two, in the same
run. Each time also stands as a power of the number of pieces: 1 grows as they do, 2 with their square.
"""

from __future__ import annotations

import argparse
import math
import random
import resource
import sys
import time
from dataclasses import replace
from itertools import pairwise

from kerfwave.cut import paths, verify
from kerfwave.model.parts import Nest, Piece, Placement, Point, Recipe, Sheet
from kerfwave.model.spec import Laser, Machine, SheetStock
from kerfwave.nest import pack
from kerfwave.writers.gcode import render

RECIPE = Recipe("invented", 100.0, 250.0, 3, 0.2, False, True, "Invented.", 1.66)
MACHINE = Machine("invented", Laser(5.5, 450.0, 0.1), 400.0, 400.0, 6000.0, 6000.0, 500.0, 1000.0)
SHEET_MM = (400.0, 400.0)


def sheet_of(count: int, seed: int = 1) -> tuple[Nest, tuple[Piece, ...], Machine]:
    """Draw `count` pieces on a grid: discs and plates, a hole in each, a second hole in some."""
    dice = random.Random(seed)
    columns = math.ceil(math.sqrt(count))
    side = 25.0 * columns + 10
    pieces, placements = [], []
    for k in range(count):
        size = dice.uniform(7, 11)
        corners = 48 if dice.random() < 0.4 else 4
        turn = math.pi / 4 if corners == 4 else 0.0
        outline = ring(0, 0, size, corners, turn)
        holes = [ring(0, 0, size * 0.3, 24, 0.0)[::-1]]
        if dice.random() < 0.2:
            holes.append(ring(size * 0.5, 0, 0.8, 24, 0.0)[::-1])
        pieces.append(Piece(f"P{k:03d}", "layer", outline, tuple(holes), 6.0))
        at = (15 + 25.0 * (k % columns) + dice.uniform(-1, 1), 15 + 25.0 * (k // columns) + dice.uniform(-1, 1))
        placements.append(Placement(f"P{k:03d}", 1, *at, dice.uniform(0, 360)))
    nest = Nest((Sheet(1, side, side, 4.0, 0.0, None),), tuple(placements), 0.5, 0.5, 1)
    return nest, tuple(pieces), replace(MACHINE, bed_width_mm=side, bed_height_mm=side)


def ring(x: float, y: float, radius: float, corners: int, turn: float) -> tuple[Point, ...]:
    """Return a regular polygon, counter-clockwise."""
    angles = (turn + 2 * math.pi * k / corners for k in range(corners))
    return tuple((x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles)


def larger(piece: Piece, times: float = 3.0) -> Piece:
    """Return the piece `times` as large."""

    def scaled(ring: tuple[Point, ...]) -> tuple[Point, ...]:
        return tuple((times * x, times * y) for x, y in ring)

    return replace(piece, outline=scaled(piece.outline), holes=tuple(map(scaled, piece.holes)))


def nested(pieces: tuple[Piece, ...]) -> tuple[int, float]:
    """Pack the pieces three times as large; return sheets and seconds."""
    stock = (SheetStock(*SHEET_MM, len(pieces)),)
    large = tuple(map(larger, pieces))
    began = time.process_time()
    nest = pack(large, stock, bed_mm=SHEET_MM, margin_mm=4.0, spacing_mm=1.2, sheet_grain="x", seed=1)
    return len(nest.sheets), time.process_time() - began


def formatted(lines: int) -> float:
    """Return how many lines of two numbers a second plain formatting makes."""
    began = time.process_time()
    text = "\n".join([f"X{k / 7:.2f} Y{k / 3:.2f}" for k in range(lines)])
    return text.count("\n") / (time.process_time() - began)


def measured(count: int) -> tuple[float, ...]:
    """Print one row; return the seconds of nest, paths, text and proof."""
    nest, pieces, machine = sheet_of(count)
    sheets, nest_s = nested(pieces)
    at = [time.process_time()]
    program = paths.sheet_program(1, nest, pieces, RECIPE, machine)
    at.append(time.process_time())
    text = render(program, machine, RECIPE)
    at.append(time.process_time())
    held = sorted({(c.piece, p) for c in program.contours for p in c.bridges})
    side = machine.bed_width_mm
    checks = verify(text, pieces, nest.placements, RECIPE, machine, side, side, bridges=held)
    at.append(time.process_time())
    bad = [c.text for c in checks if c.level == "fail"]
    assert not bad, bad
    paths_s, text_s, proof_s = (b - a for a, b in pairwise(at))
    lines = text.count("\n")
    print(
        f"{count:7} {sheets:6} {nest_s:7.2f} {len(program.contours):8} {paths_s:8.2f} {lines:7} "
        f"{lines / text_s:8.0f} {formatted(lines):11.0f} {proof_s:8.2f} {peak_mb():8.0f}",
        flush=True,
    )
    return nest_s, paths_s, text_s, proof_s


def peak_mb() -> float:
    """Return the most memory that this process has had so far; counts that rise make it the most of the last."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("counts", nargs="*", type=int, default=[32, 100, 320], metavar="COUNT")
    counts = parser.parse_args().counts
    heads = (
        "pieces",
        "sheets",
        "nest s",
        "contours",
        "paths s",
        "lines",
        "lines/s",
        "formatted/s",
        "proof s",
        "peak MB",
    )
    print("{:>7} {:>6} {:>7} {:>8} {:>8} {:>7} {:>8} {:>11} {:>8} {:>8}".format(*heads))
    rows = [measured(count) for count in counts]
    if len(counts) > 1:
        steps = math.log(counts[-1] / counts[0])
        powers = [math.log(last / first) / steps for first, last in zip(rows[0], rows[-1], strict=True)]
        print("time as a power of pieces: nest {:.2f}, paths {:.2f}, text {:.2f}, proof {:.2f}".format(*powers))


if __name__ == "__main__":
    main()
