"""Travel by hand: the way with the beam off beside OR-tools in the same run.

    python tests/bench/travel.py [--seconds 20] [SPEC ...]

Each sheet of the specs (default: both demos), and the sheet of some 200 contours that `programs.py` draws, is ordered
by `order.tour`. Then OR-tools gets the same problem twice: with the entry points that `tour` chose, and with those of
the nearest neighbour, each for so many seconds of guided local search from the nearest neighbour's order, precedence as
an order dimension. The entry points of what it finds are then chosen anew, exactly, as `tour` does. The ratio is our
way over the shorter of its two. Needs `pip install ortools`, which nothing else here does.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path
from unittest import mock

import numpy as np
from programs import RECIPE, sheet_of

from kerfwave.cut import order, paths, routes
from kerfwave.model.parts import Nest, Piece, Recipe
from kerfwave.model.spec import Machine

DEMOS = sorted((Path(__file__).parents[2] / "specs").glob("*.yaml"))


def problems_of(spec: Path) -> list[tuple[str, list, list]]:
    """Build `spec` and catch what `tour` is asked: name, entry points, what must come later."""
    from kerfwave import jobs
    from kerfwave.engine import Store, Walker

    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder), print)
        job = jobs._load(spec)
        names = ("nest", "slices", "recipe")
        results = jobs._stages(job, store, Walker(None), names, explain=False)
        nest, sliced, recipe = (results[name] for name in names)
    pieces = (*sliced.pieces, *sliced.insets)
    return [
        (f"{spec.stem} {sheet.number}", *asked(sheet.number, nest, pieces, recipe, job.loaded.spec.machine))
        for sheet in nest.sheets
    ]


def asked(number: int, nest: Nest, pieces: tuple[Piece, ...], recipe: Recipe, machine: Machine) -> tuple[list, list]:
    """Return the entry points and the precedence of one sheet."""
    caught = []

    def catch(entries, later):
        caught.append((list(entries), list(later)))
        return order.tour(entries, later)

    with mock.patch.object(routes, "tour", catch):
        paths.sheet_job(number, nest, pieces, recipe, machine)
    return caught[0]


def ortools_order(points: np.ndarray, later: list[tuple[int, ...]], begin: list[int], seconds: int) -> list[int]:
    """Return an order of `points` (the home first) by OR-tools; stops are numbered from 0 without the home."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    um = np.rint(1000 * np.hypot(*(points[:, None, :] - points[None, :, :]).transpose(2, 0, 1))).astype(int)
    manager = pywrapcp.RoutingIndexManager(len(points), 1, 0)
    routing = pywrapcp.RoutingModel(manager)
    ways = um.tolist()
    cost = routing.RegisterTransitCallback(lambda a, b: ways[manager.IndexToNode(a)][manager.IndexToNode(b)])
    routing.SetArcCostEvaluatorOfAllVehicles(cost)
    one = routing.RegisterUnaryTransitCallback(lambda a: 1)
    routing.AddDimension(one, 0, len(points) + 1, True, "place")
    place = routing.GetDimensionOrDie("place")
    for stop, those in enumerate(later):
        for other in those:
            a, b = manager.NodeToIndex(stop + 1), manager.NodeToIndex(other + 1)
            routing.solver().Add(place.CumulVar(a) < place.CumulVar(b))
    how = pywrapcp.DefaultRoutingSearchParameters()
    how.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    how.time_limit.seconds = seconds
    routing.CloseModelWithParameters(how)
    first = routing.ReadAssignmentFromRoutes([[stop + 1 for stop in begin]], True)
    found = routing.SolveFromAssignmentWithParameters(first, how)
    index, sequence = routing.Start(0), []
    while not routing.IsEnd(index):
        sequence.append(manager.IndexToNode(index) - 1)
        index = found.Value(routing.NextVar(index))
    return sequence[1:]


def compare(name: str, entries: list, later: list, seconds: int) -> float:
    """Print one row; return our way over that of OR-tools."""
    home = np.zeros((1, 2))
    began = time.process_time()
    ours = order.tour(entries, later)
    took = time.process_time() - began
    length = order.total_um(ours, entries, home)
    nearest = order.nearest_neighbour(entries, later, home)
    best = None
    for chosen in (ours, nearest):
        entry = dict(chosen)
        points = np.concatenate([home, [entries[c][entry[c]] for c in range(len(entries))]])
        sequence = ortools_order(points, later, [c for c, _ in nearest], seconds)
        theirs = order.total_um(order._choose_entries(sequence, entries, home), entries, home)
        best = theirs if best is None else min(best, theirs)
    naive = order.total_um(nearest, entries, home)
    print(
        f"{name:18} {len(entries):5} {sum(map(len, entries)):6} {naive / 1000:9.1f} {length / 1000:9.1f} "
        f"{best / 1000:9.1f} {length / best:7.4f} {took:6.2f}",
        flush=True,
    )
    return length / best


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("specs", nargs="*", type=Path, default=DEMOS)
    parser.add_argument("--seconds", type=int, default=20, help="for each run of OR-tools")
    args = parser.parse_args()
    jobs = [row for spec in args.specs for row in problems_of(spec)]
    nest, pieces, machine = sheet_of(91)
    jobs.append(("drawn", *asked(1, nest, pieces, RECIPE, machine)))
    heads = ("", "lines", "points", "nearest", "ours", "ortools", "ratio", "s")
    print("{:18} {:>5} {:>6} {:>9} {:>9} {:>9} {:>7} {:>6}".format(*heads))
    ratios = [compare(*job, args.seconds) for job in jobs]
    print(f"ours over OR-tools: worst {max(ratios):.4f}, mean {sum(ratios) / len(ratios):.4f}")


if __name__ == "__main__":
    main()
