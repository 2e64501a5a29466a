"""Nesting by hand: sheets and seconds over ten seeds, beside bounding boxes packed by rectpack in the same run.

    python tests/bench/nesting.py RING_SET.json [--grain]
    python tests/bench/nesting.py --random 20

The file holds `sheet_mm`, `margin_mm`, `spacing_mm` and `parts`, a list of `id`, `demand`, `outline`, `holes` in mm.
With `--random` invented sets of 8 to 30 pieces are packed, one seed each. Needs the extra `bench`.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import statistics
import time
from pathlib import Path

import rectpack

from kerfwave.model.parts import Nest, Piece
from kerfwave.model.spec import SheetStock
from kerfwave.nest import pack

ALGORITHMS = (rectpack.MaxRectsBssf, rectpack.MaxRectsBl, rectpack.GuillotineBssfSas, rectpack.SkylineBlWm)
PLENTY = 40


def read(path: Path, grain: bool) -> tuple[tuple[Piece, ...], tuple[float, float], float, float]:
    """Read a set of parts: pieces, sheet size, margin and spacing in mm."""
    data = json.loads(path.read_text(encoding="utf-8"))
    pieces = tuple(
        Piece(
            f"{part['id']}-{number:02d}",
            "layer",
            tuple((x, y) for x, y in part["outline"]),
            tuple(tuple((x, y) for x, y in ring) for ring in part["holes"]),
            6.0,
            grain="x" if grain else None,
        )
        for part in data["parts"]
        for number in range(1, part["demand"] + 1)
    )
    width, height = data["sheet_mm"]
    return pieces, (width, height), data["margin_mm"], data["spacing_mm"]


def invented(seed: int) -> tuple[Piece, ...]:
    """Rectangles, L-shapes, frames and discs, some of whole millimetres."""
    dice = random.Random(seed)
    pieces = []
    for number in range(dice.randint(8, 30)):
        w, h = dice.uniform(25, 190), dice.uniform(25, 190)
        if dice.random() < 0.4:
            w, h = float(round(w)), float(round(h))
        limb = min(w, h) * 0.25
        box = ((0.0, 0.0), (w, 0.0), (w, h), (0.0, h))
        window = ((limb, limb), (limb, h - limb), (w - limb, h - limb), (w - limb, limb))
        ell = ((0.0, 0.0), (w, 0.0), (w, limb), (limb, limb), (limb, h), (0.0, h))
        disc = tuple((w / 2 * math.cos(k * math.pi / 24), w / 2 * math.sin(k * math.pi / 24)) for k in range(48))
        outline, holes = dice.choice([(box, ()), (ell, ()), (box, (window,)), (disc, ())])
        pieces.append(Piece(f"p{number:02d}", "layer", outline, holes, 6.0))
    return tuple(pieces)


def boxes(pieces: tuple[Piece, ...], sheet: tuple[float, float], margin: float, spacing: float) -> tuple[int, float]:
    """Pack bounding boxes grown by the spacing; return the fewest sheets of four algorithms, and seconds of all."""
    began = time.process_time()
    counts = []
    for algorithm in ALGORITHMS:
        packer = rectpack.newPacker(rotation=all(p.grain is None for p in pieces), pack_algo=algorithm)
        for piece in pieces:
            xs, ys = zip(*piece.outline, strict=True)
            # whole micrometres: rectpack compares exactly
            packer.add_rect(*(math.ceil((max(v) - min(v) + spacing) * 1000 - 1e-6) for v in (xs, ys)))
        for _ in range(PLENTY):
            packer.add_bin(*(round((side - 2 * margin + spacing) * 1000) for side in sheet))
        packer.pack()
        if len(packer.rect_list()) == len(pieces):
            counts.append(len(packer))
    return min(counts), time.process_time() - began


def timed(
    pieces: tuple[Piece, ...], sheet: tuple[float, float], margin: float, spacing: float, seed: int
) -> tuple[Nest, float]:
    """Pack and return seconds of processor time: other programs on the machine don't count."""
    began = time.process_time()
    nest = pack(
        pieces,
        (SheetStock(*sheet, PLENTY),),
        bed_mm=sheet,
        margin_mm=margin,
        spacing_mm=spacing,
        sheet_grain="x",
        seed=seed,
    )
    return nest, time.process_time() - began


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("set", nargs="?", type=Path, help="a set of parts")
    parser.add_argument("--grain", action="store_true", help="half turns only")
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--random", type=int, default=0, metavar="N", help="so many invented sets instead")
    args = parser.parse_args()
    if not args.set and not args.random:
        parser.error("a set of parts, or --random N")
    jobs = []
    if args.set:
        pieces, sheet, margin, spacing = read(args.set, args.grain)
        jobs = [(f"seed {seed}", pieces, sheet, margin, spacing, seed) for seed in range(1, args.seeds + 1)]
    jobs += [(f"set {k}", invented(k), (400.0, 400.0), 5.0, 2.0, 1) for k in range(args.random)]
    worse, seconds = 0, []
    heads = ("", "pieces", "sheets", "bound", "boxes", "wood", "outline", "s", "box s")
    print("{:10} {:>6} {:>6} {:>5} {:>5} {:>6} {:>7} {:>6} {:>6}".format(*heads))
    for name, pieces, sheet, margin, spacing, seed in jobs:
        nest, took = timed(pieces, sheet, margin, spacing, seed)
        count, box_took = boxes(pieces, sheet, margin, spacing)
        worse += len(nest.sheets) > count
        seconds.append(took)
        print(
            f"{name:10} {len(pieces):6} {len(nest.sheets):6} {nest.bound:5} {count:5} {nest.utilisation:6.1%} "
            f"{nest.outline_utilisation:7.1%} {took:6.2f} {box_took:6.2f}"
        )
    print(
        f"more sheets than boxes: {worse} of {len(jobs)}; seconds: median {statistics.median(seconds):.2f}, "
        f"most {max(seconds):.2f}"
    )


if __name__ == "__main__":
    main()
