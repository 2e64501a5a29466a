"""Random specs through sizing, body and slices: how many fold, how many say why not, and how long it takes.

    python tests/bench/bodies.py [--specs 300] [--from 1] [--jobs 1] [--layers] [--list]

Of each spec only some bodies are weighed by their sound, which takes longest and has a benchmark of its own. Every spec
is drawn from its number alone, so a case is run again with `--from NUMBER --specs 1 --list`.
"""

from __future__ import annotations

import argparse
import functools
import importlib
import inspect
import itertools
import os
import re
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import yaml
from shapely.ops import unary_union
from specs_at_random import mixed
from specs_at_random import spec as spec_at_random

from kerfwave.body import shapes
from kerfwave.body.air import Body, body
from kerfwave.body.keys import FoldKey
from kerfwave.body.rules import stack
from kerfwave.body.slices import air_of_layer
from kerfwave.engine import StageError
from kerfwave.findings import SpecError
from kerfwave.model.acoustic import GuideRun
from kerfwave.model.parts import Check
from kerfwave.spec import load
from kerfwave.stages import STAGES
from kerfwave.stages import sizing as sizing_stage
from kerfwave.stages.slices import Sliced

ROOT = Path(__file__).parents[2]
SLOW_S = 10.0
NUMBER = re.compile(r"\d")
# Whatever the promises about sound, these must hold for every body that was folded.
MUST_HOLD = ("web", "glue", "leak", "way-driver", "way-mouth", "way-terminal")
LENGTHS_MM = (300, 600, 1000, 1600, 2501)
VOLUMES_L = (1, 2, 4, 8, 20.1)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one spec."""

    seed: int
    kind: str  # "folded", "shorter" (says so), "refused", "vague" (no key or no number), "crashed"
    seconds: float  # processor time of sizing, body and slices
    text: str = ""
    litres: float = 0.0  # outside
    asked_mm: float = 0.0
    guide_mm: float = 0.0
    arrangement: str = ""
    area_off_mm2: float = 0.0  # wood + air - plan, the worst layer
    volume_off: float = 0.0  # the guide's air against the integral of its section
    broken: tuple[str, ...] = ()


def stage(name: str, known: dict[str, Any]) -> Any:
    """Run one stage by itself, its inputs taken from what is known, and add what it makes to that."""
    entry = next(one for one in STAGES if one.name == name)
    module, function = entry.run.split(":")
    run = getattr(importlib.import_module(module), function)
    values = [functools.reduce(getattr, ref.split(".")[1:], known[ref.split(".")[0]]) for ref in entry.inputs]
    told = {"progress": _quiet} if "progress" in inspect.signature(run).parameters else {}
    known[name] = run(*values, **told)
    return known[name]


def words(key: FoldKey) -> str:
    """Return in words how a guide is folded."""
    arrangement = key.arrangement
    place = "under or behind the chamber" if arrangement.under else "beside the chamber"
    found = f"on {arrangement.storeys} storeys {place}" if not arrangement.in_one_plane else "in one plane"
    return f"{found}, {'along walls' if key.walls else 'straight'}"


def _quiet(_part: float, _text: str) -> None:
    """Take a stage's progress and say nothing."""


def attempt(folder: str, most_bodies: int, mix: bool, seed: int) -> Outcome:
    """Run one spec; `mix`: with sheets of several thicknesses, feet and keyholes."""
    sizing_stage.MOST_BODIES = most_bodies
    data = mixed(spec_at_random(seed), seed) if mix else spec_at_random(seed)
    place = Path(folder) / f"spec-{seed}.yaml"
    place.write_text(yaml.safe_dump(data), "utf-8")
    about: dict[str, Any] = {"asked_mm": data["enclosure"]["guide_least_mm"]}
    start = time.process_time()
    try:
        spec = load(place).spec
        plan = shapes.polygon(spec.enclosure.plan.outline)
        about["litres"] = plan.area * spec.enclosure.height_mm * 1e-6
        known: dict[str, Any] = {"spec": spec}
        stage("supply", known)
        sized, built, cut = (stage(name, known) for name in ("sizing", "body", "slices"))
    except StageError as error:
        clear = bool(error.where) and NUMBER.search(error.message) is not None
        text = f"{'.'.join(map(str, error.where))}: {error.message}"
        return Outcome(seed, "refused" if clear else "vague", time.process_time() - start, text, **about)
    except SpecError as error:
        found = error.findings[0]
        clear = found.line > 0 and NUMBER.search(found.message) is not None
        text = f"{found.code}: {found.message}"
        return Outcome(seed, "refused" if clear else "vague", time.process_time() - start, text, **about)
    except Exception:
        return Outcome(seed, "crashed", time.process_time() - start, traceback.format_exc(limit=-4), **about)
    seconds = time.process_time() - start
    try:
        checks = (*stage("rules", known).checks, *cut.checks)
        area_off, volume_off, broken = invariants(built.body, cut, built.volumes.guide, checks)
    except Exception:
        return Outcome(seed, "crashed", seconds, "while checking: " + traceback.format_exc(limit=-4), **about)
    return Outcome(
        seed,
        "folded" if sized.long_enough else "shorter",
        seconds,
        str(built.body.fold.key),
        guide_mm=built.body.fold.length_mm,
        arrangement=words(built.body.fold.key),
        area_off_mm2=area_off,
        volume_off=volume_off,
        broken=broken,
        **about,
    )


def invariants(
    built: Body, cut: Sliced, guide: tuple[GuideRun, ...], checks: tuple[Check, ...]
) -> tuple[float, float, tuple[str, ...]]:
    """Return what is off in area and in volume, and what is broken by name."""
    skin = shapes.polygon(built.skin)
    wood = {p.id: shapes.polygon(p.outline, p.holes) for p in cut.pieces}
    broken = {f"{c.id}: {c.text}" for c in checks if c.id in MUST_HOLD and c.level == "fail"}
    area_off = 0.0
    for layer in cut.layers:
        solid = unary_union([wood[name] for name in layer.pieces])
        hollow = air_of_layer(built.air, layer.z_mm, layer.z_mm + layer.thickness_mm).intersection(skin)
        area_off = max(area_off, abs(solid.area + hollow.area - skin.area))
    for name, shape in wood.items():
        if not shape.is_valid or not shape.exterior.is_simple or shape.difference(skin).area > 1e-3:
            broken.add(f"piece {name} is no proper piece")
    plan = shapes.polygon(built.plan.outline)
    whole = volume_mm3([p for p in built.air if p.kind == "guide"], plan)
    asked = 1e9 * sum(run.length_m * run.height_m * (run.width_in_m + run.width_out_m) / 2 for run in guide)
    return area_off, abs(whole / asked - 1.0), tuple(sorted(broken))


def volume_mm3(prisms: Iterable[Any], plan: Any) -> float:
    """Return the volume of prisms within the plan, overlaps counted once, slab by slab between their ends."""
    prisms = tuple(prisms)
    heights = sorted({z for p in prisms for z in (p.from_z_mm, p.to_z_mm)})
    total = 0.0
    for low, high in itertools.pairwise(heights):
        inside = [shapes.polygon(p.outline) for p in prisms if p.from_z_mm < (low + high) / 2 < p.to_z_mm]
        total += unary_union(inside).intersection(plan).area * (high - low)
    return total


def table(outcomes: list[Outcome]) -> None:
    """Print the counts."""
    kinds = Counter(o.kind for o in outcomes)
    for kind in ("folded", "shorter", "refused", "vague", "crashed"):
        print(f"{kind:<10} {kinds[kind]:5d}  {100 * kinds[kind] / len(outcomes):5.1f} %")
    made = [o for o in outcomes if o.kind in ("folded", "shorter")]
    times = sorted(o.seconds for o in outcomes)
    slow, median = sum(t > SLOW_S for t in times), times[len(times) // 2]
    print(f"over {SLOW_S:g} s  {slow}; median {median:.2f} s, worst {times[-1]:.2f} s")
    if made:
        for way, times in sorted(Counter(o.arrangement for o in made if o.kind == "folded").items()):
            print(f"  folded {way}: {times}")
        print(f"wood + air - plan, worst {max(o.area_off_mm2 for o in made):.2e} mm2")
        print(f"guide's volume off by {100 * max(o.volume_off for o in made):.3f} % at most")
        print(f"bodies with something broken {sum(bool(o.broken) for o in made)}")
    print(f"\n{'share folded as long as asked':<32}" + "".join(f"{f'{a:g}-{b:g} l':>12}" for a, b in _pairs(VOLUMES_L)))
    for a, b in _pairs(LENGTHS_MM):
        cells = []
        for c, d in _pairs(VOLUMES_L):
            here = [o for o in outcomes if a <= o.asked_mm < b and c <= o.litres < d]
            cells.append(f"{sum(o.kind == 'folded' for o in here)}/{len(here)}")
        print(f"{f'guide of {a:g} to {b:g} mm':<32}" + "".join(f"{cell:>12}" for cell in cells))


def _pairs(edges: tuple[float, ...]) -> list[tuple[float, float]]:
    return list(itertools.pairwise(edges))


def growth() -> None:
    """Print how body and slices of the first demo grow with its layers."""
    spec = load(ROOT / "specs" / "listening-post.yaml").spec
    known: dict[str, Any] = {"spec": spec}
    stage("supply", known)
    sized = stage("sizing", known)
    stage("body", known)
    print("layers   body and slices of listening-post, processor time")
    first = 0.0
    for layers in (14, 14, 28, 56):  # the first round pays for the imports
        counts = stack(sized.rules, 1, layers - 2, 1)
        designs = (replace(sized.designs[0], counts=counts),)
        start = time.process_time()
        made = body(spec.enclosure.plan, sized.rules, spec.driver, counts, designs[0].fold)
        known["body"] = replace(known["body"], body=made)
        stage("slices", known)
        took = time.process_time() - start
        first = first if layers > 14 else took
        print(f"{layers:4d}     {took:6.2f} s   {took / first:5.2f} times that of 14")


def main() -> None:
    """Run the campaign or the timing."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--specs", type=int, default=300)
    parser.add_argument("--from", type=int, default=1, dest="first")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--bodies", type=int, default=24, help="whose sound is worked out for each spec")
    parser.add_argument("--mixed", action="store_true", help="sheets of several thicknesses, feet and keyholes")
    parser.add_argument("--layers", action="store_true", help="time 14, 28 and 56 layers instead")
    parser.add_argument("--list", action="store_true", help="print every outcome")
    asked = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start")
    if asked.layers:
        growth()
        return
    outcomes = []
    with tempfile.TemporaryDirectory() as folder, ProcessPoolExecutor(asked.jobs) as pool:
        seeds = range(asked.first, asked.first + asked.specs)
        for outcome in pool.map(functools.partial(attempt, folder, asked.bodies, asked.mixed), seeds):
            outcomes.append(outcome)
            if asked.list or outcome.kind in ("vague", "crashed") or outcome.broken or outcome.seconds > SLOW_S:
                print(outcome, flush=True)
    table(outcomes)


if __name__ == "__main__":
    main()
