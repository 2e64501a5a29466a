"""The network by hand: a full response, candidates in a search beside scikit-rf in the same run, the demo's search.

    python tests/bench/acoustics.py [SPEC]

scikit-rf cascades the same ducts, one network of it after another, and nothing but that: what the walls and the fibre
do is worked out for it before the clock starts, and neither driver nor mouth nor levels are asked of it.
"""

from __future__ import annotations

import os
import resource
import statistics
import sys
import tempfile
import time
import tracemalloc
import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from kerfwave.acoustics.air import air
from kerfwave.acoustics.duct import propagation
from kerfwave.acoustics.network import response, responses
from kerfwave.acoustics.segments import cascade
from kerfwave.engine import Event, Store
from kerfwave.engine import build as run
from kerfwave.jobs import _load
from kerfwave.model.acoustic import Network
from kerfwave.stages import STAGES

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # what it warns of on import is not ours
    import skrf

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "specs" / "listening-post.yaml"
ROUNDS = 9
CANDIDATES, FREQUENCIES = 3000, 100
AIR = air()
PORT = 2e5  # Pa s/m^3, scikit-rf's own reference


def searched(spec: Path) -> tuple[Network, list[float]]:
    """Size and fold a spec twice, from nothing; return the network as built and the seconds of the search."""
    seconds: list[float] = []
    built = None
    for _ in range(2):
        with tempfile.TemporaryDirectory() as folder:
            said: list[Event] = []
            roots = _load(spec).roots
            built = run(STAGES, roots, Store(Path(folder)), want=("body",), listener=said.append)["body"]
            seconds += [event.seconds for event in said if event.word == "made" and event.stage == "sizing"]
    assert built is not None
    return built.network, seconds


def median(action: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Return the median time in seconds, after one round that does not count."""
    action()
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def uniform(network: Network) -> Network:
    """Return the network as both can reckon with it: a duct of its middle for every taper, no lumps of fibre."""
    guide = []
    for s in network.guide:
        area, perimeter = (s.area_in_m2 + s.area_out_m2) / 2, (s.perimeter_in_m + s.perimeter_out_m) / 2
        lump = 0.0 if s.flow_resistivity_pa_s_m2 > 0.0 else s.extra_inertance_kg_m4
        sides = {"perimeter_in_m": perimeter, "perimeter_out_m": perimeter, "extra_inertance_kg_m4": lump}
        guide.append(replace(s, area_in_m2=area, area_out_m2=area, **sides))
    return replace(network, guide=tuple(guide))


def varied(network: Network, factor: float) -> Network:
    """Return the network with chamber and guide a little different: nothing that two candidates could share."""
    first, *others = network.guide
    guide = (replace(first, length_m=first.length_m * factor), *others)
    return replace(network, chamber_m3=network.chamber_m3 * factor, guide=guide)


def rf_cascade(network: Network, frequency_hz: np.ndarray) -> Callable[[], skrf.Network]:
    """Return what cascades the guide in scikit-rf, with all that can be known beforehand known."""
    frequency = skrf.Frequency.from_f(frequency_hz, unit="Hz")
    omega = 2 * np.pi * frequency_hz
    media = []
    for s in network.guide:
        gamma, specific = propagation(s.area_in_m2, s.perimeter_in_m, AIR, omega, s.flow_resistivity_pa_s_m2)
        z0 = specific / s.area_in_m2
        media.append(skrf.media.DefinedGammaZ0(frequency=frequency, z0_port=PORT, z0=z0, gamma=gamma))

    def once() -> skrf.Network:
        total = None
        for s, medium in zip(network.guide, media, strict=True):
            piece = medium.line(s.length_m, unit="m")
            if s.extra_inertance_kg_m4:
                piece = medium.inductor(s.extra_inertance_kg_m4) ** piece
            total = piece if total is None else total**piece
        return total

    return once


def main() -> None:
    """Print the whole table."""
    spec = Path(sys.argv[1]) if len(sys.argv) > 1 else DEMO
    print(f"Python {sys.version.split()[0]}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start")
    network, seconds = searched(spec)
    print(f"{spec.stem}: {len(network.guide)} segments")
    print(f"search, first and again            {seconds[0]:8.2f} s {seconds[1]:8.2f} s")

    many = np.geomspace(20, 2000, 500)
    full = median(lambda: response(network, tuple(many.tolist()), AIR, 2.0, 1.0, "half"))
    print(f"full response, 500 points          {1e3 * full:8.2f} ms")

    plain = uniform(network)
    grid = np.geomspace(50, 700, FREQUENCIES)
    points = tuple(grid.tolist())
    rf = rf_cascade(plain, grid)
    ours, theirs = cascade(plain.guide, 2 * np.pi * grid, AIR), rf().a
    print(f"largest difference to scikit-rf    {np.abs(ours.a / theirs[:, 0, 0] - 1).max():8.1e}")
    for name, one in (("as built", network), ("every duct straight", plain)):
        batch = [varied(one, 1.0 + 1e-5 * i) for i in range(CANDIDATES)]
        # By turns, so that whatever else the machine does meets both alike.
        pairs = []
        for _ in range(3):
            start = time.perf_counter()
            responses(batch, points, AIR, 2.0, 1.0, "half")
            mine = (time.perf_counter() - start) / CANDIDATES
            pairs.append((mine, median(rf)))
        mine, other = (statistics.median(p[i] for p in pairs) for i in (0, 1))
        ratio = statistics.median(p[1] / p[0] for p in pairs)
        print(f"\n{CANDIDATES} candidates, {FREQUENCIES} frequencies, {name}")
        print(f"a candidate, whole response        {1e3 * mine:8.3f} ms")
        print(f"scikit-rf, the cascade alone       {1e3 * other:8.3f} ms   {ratio:.0f} times as long")
        tracemalloc.start()
        responses(batch, points, AIR, 2.0, 1.0, "half")
        print(f"memory taken by the batch          {tracemalloc.get_traced_memory()[1] / 1e6:8.1f} MB at the peak")
        tracemalloc.stop()
    unit = 1e6 if sys.platform == "darwin" else 1e3  # macOS counts bytes, others kilobytes
    print(f"\npeak memory of this process        {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit:8.0f} MB")


if __name__ == "__main__":
    main()
