"""Random specs through whole builds, and what their programs would cut, held against the finished pieces.

    python tests/bench/builds_at_random.py [--specs 100] [--from 1] [--jobs 1] [--list]

Body, machine, sheets and recipe of each spec are drawn from its number alone (`specs_at_random.py`): a case is run
again with `--from NUMBER --specs 1 --list`. Of a package that was built every text is looked at as in `tests/wards.py`,
and every program is run by the interpreter in `tests/rs274.py`: a beam one kerf wide must pass along the whole edge of
each piece, but for its bridges, must not cut into it, and must stay on the sheet.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import math
import os
import sys
import tempfile
import time
import traceback
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import shapely
import yaml
from shapely.geometry import LineString, Point, Polygon, box
from specs_at_random import in_a_shop, mixed
from specs_at_random import spec as spec_at_random

from kerfwave import cli
from rs274 import interpret
from wards import of_package

TOLERANCE_MM = 0.03  # chords of arcs, rounding to two decimals
SLOW_S = 60.0
BRIDGE_MM = 4.0  # the widest bridge, its ramps and a kerf


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one spec: the exit status, how long it took, what was said, what is wrong."""

    seed: int
    status: int
    seconds: float
    said: str
    wrong: tuple[str, ...] = ()
    pieces: int = 0


def drawn(seed: int) -> dict[str, Any]:
    """Return the spec of a number."""
    data = spec_at_random(seed)
    return in_a_shop(mixed(data, seed) if seed % 3 == 0 else data, seed)


def attempt(seed: int) -> Outcome:
    """Build one spec and look at what came out."""
    start = time.process_time()
    said = io.StringIO()
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "drawn.yaml"
        place.write_text(yaml.safe_dump(drawn(seed)), "utf-8")
        try:
            with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
                status = cli.main(["build", str(place), "--out", folder])
        except SystemExit as error:
            status = int(str(error.code))
        took = time.process_time() - start
        words = said.getvalue()
        wrong: list[str] = []
        pieces = 0
        try:
            if status not in (cli.DONE, cli.FAILED_CHECK, cli.WRONG_INPUT):
                wrong.append(f"status {status}")
            if "Traceback" in words:
                wrong.append("a traceback")
            if status in (cli.DONE, cli.FAILED_CHECK):
                wrong += of_package(Path(folder) / "drawn")
                pieces, more = of_programs(Path(folder) / "drawn")
                wrong += more
        except Exception:
            wrong.append("while checking: " + traceback.format_exc(limit=-4))
    return Outcome(seed, status, took, words, tuple(wrong), pieces)


def of_programs(package: Path) -> tuple[int, list[str]]:
    """Return how many pieces the programs of a package cut, and what is wrong with how."""
    report = json.loads((package / "report.json").read_text("utf-8"))
    stock = report["stock"]
    names = {kind["name"]: kind["measured_mm"] for kind in stock.get("kinds", [stock])}
    recipe_of = {names[recipe["stock"]]: recipe for recipe in report["recipes"]}
    sheets = {sheet["number"]: sheet for sheet in report["nest"]["sheets"]}
    cuts: dict[int, list[LineString]] = defaultdict(list)
    for file in sorted((package / "gcode").glob("sheet-*.nc")):
        if "outline" not in file.stem:
            number = int(file.stem.split("-")[1])
            feed = recipe_of[sheets[number]["thickness_mm"]]["feed_mm_min"]
            strokes = interpret(file.read_text("utf-8"), 0.004).strokes
            cuts[number] += [LineString(s.points) for s in strokes if s.power > 0 and s.feed == feed]
    found = []
    for number, lines in cuts.items():
        sheet = sheets[number]
        room = Polygon(sheet["outline"]) if sheet["outline"] else box(0, 0, sheet["width_mm"], sheet["height_mm"])
        if not room.buffer(1e-6).contains(shapely.union_all(lines)):
            found.append(f"sheet {number}: the beam leaves the sheet")
    bridges = defaultdict(list)
    for bridge in report["cut"]["bridges"]:
        bridges[bridge["piece"]].append(Point(bridge["at_mm"]).buffer(BRIDGE_MM))
    trees = {number: shapely.STRtree(lines) for number, lines in cuts.items()}
    for piece in report["pieces"]:
        tree = trees[piece["placement"]["sheet"]]
        kerf_mm = recipe_of[piece["thickness_mm"]]["kerf_mm"]
        found += of_piece(piece, tree, bridges[piece["id"]], kerf_mm)
    return len(report["pieces"]), found


def of_piece(piece: dict[str, Any], cuts: shapely.STRtree, bridges: list[Polygon], kerf_mm: float) -> list[str]:
    """Return what is wrong with how a piece is cut."""
    placement = piece["placement"]
    finished = Polygon(on_sheet(piece["outline"], placement), [on_sheet(h, placement) for h in piece["holes"]])
    near = shapely.union_all(cuts.geometries[cuts.query(finished.buffer(2))])
    # No round beam cuts an inner corner sharper than its own radius.
    let_be = shapely.union_all([corner.buffer(2 * kerf_mm) for corner in corners(finished)] + bridges)
    uncut = finished.boundary.difference(near.buffer(kerf_mm / 2 + TOLERANCE_MM)).difference(let_be).length
    into = near.intersection(finished.buffer(-TOLERANCE_MM)).length
    close = near.buffer(kerf_mm / 2 - TOLERANCE_MM).intersection(finished).area if kerf_mm > 2 * TOLERANCE_MM else 0.0
    return [
        *([f"{piece['id']}: {uncut:.3f} mm of the edge are not cut"] if uncut > 1e-6 else []),
        *([f"{piece['id']}: {into:.3f} mm of cut run into it"] if into > 1e-6 else []),
        *([f"{piece['id']}: {close:.3f} mm2 of it are burnt"] if close > 0.01 else []),
    ]


def corners(shape: Polygon) -> list[Point]:
    """Return the corners at which wood turns inwards."""
    found = []
    for ring, sign in [(shape.exterior, 1), *((hole, -1) for hole in shape.interiors)]:
        points = list(ring.coords)[:-1]
        turn = sign * (1 if ring.is_ccw else -1)
        for a, b, c in zip(points[-1:] + points[:-1], points, points[1:] + points[:1], strict=True):
            if turn * ((b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])) < 0:
                found.append(Point(b))
    return found


def on_sheet(ring: list[list[float]], placement: dict[str, Any]) -> list[tuple[float, float]]:
    """Lay a ring down: flipped, turned, moved. Nothing of the package takes part, as in the reading of the programs."""
    flip = -1.0 if placement["flipped"] else 1.0
    turn = math.radians(placement["turn_deg"])
    return [
        (
            math.cos(turn) * flip * x - math.sin(turn) * y + placement["x_mm"],
            math.sin(turn) * flip * x + math.cos(turn) * y + placement["y_mm"],
        )
        for x, y in ring
    ]


def main() -> int:
    """Run the campaign."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--specs", type=int, default=100)
    parser.add_argument("--from", type=int, default=1, dest="first")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--list", action="store_true", help="print every outcome, with all that was said")
    asked = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start")
    outcomes = []
    with ProcessPoolExecutor(asked.jobs) as pool:
        for outcome in pool.map(attempt, range(asked.first, asked.first + asked.specs)):
            outcomes.append(outcome)
            if outcome.wrong or asked.list or outcome.seconds > SLOW_S:
                print(outcome.seed, outcome.status, f"{outcome.seconds:.1f} s", *outcome.wrong, sep="\n  ", flush=True)
            if asked.list:
                print(outcome.said)
    for status, count in sorted(Counter(o.status for o in outcomes).items()):
        print(f"status {status}  {count}")
    built = sorted(o.seconds for o in outcomes if o.pieces)
    if built:
        pieces = sum(o.pieces for o in outcomes)
        print(f"{pieces} pieces; median {built[len(built) // 2]:.1f} s, longest {built[-1]:.1f} s of processor time")
    print(f"{sum(bool(o.wrong) for o in outcomes)} with something wrong")
    return any(o.wrong for o in outcomes)


if __name__ == "__main__":
    sys.exit(main())
