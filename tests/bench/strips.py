"""Strips by hand: how short a strip of given height can be, beside spyrrow in the same run and for the same time.

    python tests/bench/strips.py trousers.json albano.json ring-set.json

Each file is either an open set of the literature (`strip_height`, and `items` with `demand`, `allowed_orientations` and
`shape.data`) or a set of parts as in `nesting.py`, with windows and a spacing, laid on a strip as high as its sheet.
`pack` is asked for one sheet, ever shorter; spyrrow then gets the processor time that took, on one thread. Sets whose
pieces may not be turned at all are left out, as `pack` always allows half turns. Needs the extra `bench`.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from pathlib import Path

import spyrrow
from shapely.geometry import Polygon

from kerfwave.model.parts import Piece
from kerfwave.model.spec import SheetStock
from kerfwave.nest import DoesNotFit, NotEnoughSheets, pack

HEIGHT_MM = 400.0  # sets of the literature are scaled to this
STEPS = 9


def read(path: Path) -> tuple[tuple[Piece, ...], float, float, float]:
    """Read a set: pieces, height of the strip, spacing, margin."""
    data = json.loads(path.read_text(encoding="utf-8"))
    if "parts" in data:
        pieces = tuple(
            Piece(
                f"{part['id']}-{number:02d}",
                "layer",
                tuple((float(x), float(y)) for x, y in part["outline"]),
                tuple(tuple((float(x), float(y)) for x, y in ring) for ring in part["holes"]),
                6.0,
            )
            for part in data["parts"]
            for number in range(1, part["demand"] + 1)
        )
        return pieces, data["sheet_mm"][1] - 2 * data["margin_mm"], data["spacing_mm"], data["margin_mm"]
    scale = HEIGHT_MM / data["strip_height"]
    found = []
    for item in data["items"]:
        turns = {float(t) for t in item["allowed_orientations"]}
        if turns not in ({0.0, 180.0}, {0.0, 90.0, 180.0, 270.0}):
            raise SystemExit(f"{path.name}: turns {sorted(turns)} are none that pack knows")
        ring = tuple((x * scale, y * scale) for x, y in item["shape"]["data"])
        ring = ring[:-1] if ring[0] == ring[-1] else ring
        grain = "x" if len(turns) == 2 else None
        found += [Piece(f"{item['id']}-{k:02d}", "layer", ring, (), 6.0, grain=grain) for k in range(item["demand"])]
    return tuple(found), HEIGHT_MM, 0.0, 0.0


def ours(pieces: tuple[Piece, ...], height: float, spacing: float, effort: int) -> tuple[float, float]:
    """Return the shortest strip found by halving, and seconds of processor time."""
    began = time.process_time()
    wood = sum(Polygon(p.outline, p.holes).area for p in pieces)
    low, high = wood / height, math.inf
    length = wood / height / 0.6
    for _ in range(STEPS):
        try:
            nest = pack(
                pieces,
                (SheetStock(length, height, 1),),
                bed_mm=(1e6, 1e6),
                margin_mm=0.0,
                spacing_mm=spacing,
                sheet_grain="x",
                effort=effort,
            )
        except (NotEnoughSheets, DoesNotFit):
            low = length
            length = (low + high) / 2 if high < math.inf else length * 1.3
        else:
            assert len(nest.sheets) == 1
            high = length
            length = (low + high) / 2
    return high, time.process_time() - began


def theirs(pieces: tuple[Piece, ...], height: float, spacing: float, seconds: float) -> float:
    """Return the length of spyrrow's strip after so many seconds; it knows no windows."""
    items = [spyrrow.Item(p.id, p.outline, 1, [0.0, 180.0] if p.grain else [0.0, 90.0, 180.0, 270.0]) for p in pieces]
    instance = spyrrow.StripPackingInstance("set", height, items)
    config = spyrrow.StripPackingConfig(
        total_computation_time=max(2, round(seconds)), min_items_separation=spacing or None, num_workers=1, seed=1
    )
    return float(instance.solve(config).width)


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("sets", nargs="+", type=Path)
    parser.add_argument("--effort", type=int, default=300)
    args = parser.parse_args()
    print(f"{'set':16} {'pieces':>6} {'s':>6} {'ours':>8} {'spyrrow':>8} {'points':>7}")
    for path in args.sets:
        pieces, height, spacing, _ = read(path)
        wood = sum(Polygon(p.outline, p.holes).area for p in pieces)
        length, seconds = ours(pieces, height, spacing, args.effort)
        other = theirs(pieces, height, spacing, seconds)
        own, its = wood / height / length, wood / height / other
        print(
            f"{path.stem:16} {len(pieces):6} {seconds:6.1f} {own:8.1%} {its:8.1%} {100 * (own - its):+7.1f}", flush=True
        )


if __name__ == "__main__":
    main()
