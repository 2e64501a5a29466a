"""How long builds take: cold, after a change, with nothing to do, by stage, by layers. By hand; see README.md here."""

from __future__ import annotations

import argparse
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
SPECS = sorted((ROOT / "specs").glob("*.yaml"))
REFERENCE = "import yaml, jsonschema"  # what any program that checks YAML against a schema has to wait for
ROUNDS = 9


@dataclass(frozen=True, slots=True)
class Run:
    """One process from start to end."""

    seconds: float
    processor_seconds: float  # user and system, of all its threads
    peak_mb: float


def measure(argv: Sequence[str], statuses: Sequence[int] = (0,)) -> Run:
    """Run one command to its end.

    Raises:
        RuntimeError: if it ends with a status that is none of `statuses`.
    """
    start = time.perf_counter()
    process = subprocess.Popen([sys.executable, *argv], stdout=subprocess.DEVNULL, cwd=ROOT)
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in statuses:
        raise RuntimeError(f"{argv} ended with status {process.returncode}")
    unit = 1e6 if sys.platform == "darwin" else 1e3  # macOS counts bytes, others kilobytes
    return Run(seconds, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / unit)


def build(out: Path, *specs: Path, statuses: Sequence[int] = (0,)) -> Run:
    """Build through the command line."""
    return measure(["-m", "kerfwave", "build", *map(str, specs), "--out", str(out)], statuses)


def row(name: str, run: Run, remark: str = "") -> None:
    """Print one line of the table."""
    print(f"{name:<34} {run.seconds:8.3f} s {run.processor_seconds:8.3f} s {run.peak_mb:6.0f} MB  {remark}".rstrip())


def whole_builds(work: Path) -> None:
    """Print whole builds beside a bare interpreter."""
    print(f"{'whole builds':<34} {'wall':>10} {'processor':>10} {'peak':>9}")
    for spec in SPECS:
        row(f"cold, {spec.stem}", build(work / f"cold-{spec.stem}", spec))
    out = work / "both"
    row("cold, all demos in one command", build(out, *SPECS))
    # By turns, so that whatever else the machine does meets both alike.
    pairs = [(build(out, *SPECS), measure(["-c", REFERENCE])) for _ in range(ROUNDS)]
    nothing, bare = (middle([pair[side] for pair in pairs]) for side in (0, 1))
    row("nothing to do, all demos", nothing, f"median of {ROUNDS}")
    row("bare interpreter, same imports", bare, f"median of {ROUNDS}: {REFERENCE}")
    ratio = statistics.median(one.seconds / other.seconds for one, other in pairs)
    print(f"{'nothing to do / bare interpreter':<34} {ratio:8.2f}")


def changes(work: Path) -> None:
    """Print the first demo built again after a new title and after another recipe, each the median of five."""
    shelf = Path(shutil.copytree(ROOT / "specs", work / "specs"))
    spec = shelf / SPECS[-1].name
    out = work / "changed"
    build(out, spec)
    recipes = sorted((shelf / "recipes").glob("*.yaml"))
    titles, feeds = [], []
    for number in range(5):
        spec.write_text(re.sub(r"(?m)^name: .*$", f"name: Title {number}", spec.read_text("utf-8")), "utf-8")
        titles.append(build(out, spec))
        for file in recipes:  # another feed: where the beam runs stays as it is
            file.write_text(re.sub(r"feed_mm_min: (\d+)", _faster, file.read_text("utf-8")), "utf-8")
        feeds.append(build(out, spec))
    row(f"a new title, {spec.stem}", middle(titles), "median of 5")
    row(f"another feed, {spec.stem}", middle(feeds), "median of 5")


def _faster(found: re.Match[str]) -> str:
    return f"feed_mm_min: {int(found[1]) + 1}"


def growth(work: Path) -> None:
    """Print whole builds of one body from sheets a half and a quarter as thick: 14, 28 and 56 layers."""
    shelf = Path(shutil.copytree(ROOT / "specs", work / "specs"))
    spec = (shelf / "listening-post.yaml").read_text("utf-8")
    stock = (shelf / "stock/birch-6.yaml").read_text("utf-8")
    print(f"{'layers, cold':<34} {'wall':>10} {'processor':>10} {'peak':>9}")
    runs = []
    for times in (1, 2, 4):
        thin = re.sub(r"(?m)^thickness_mm: .*$", f"thickness_mm: {6.5 / times}", stock)
        thin = re.sub(r"(?m)^measured_mm: .*$", f"measured_mm: [{6.3 / times}]", thin)
        thin = re.sub(r"count: (\d+)", f"count: {12 * times}", thin)
        (shelf / f"stock/thin-{times}.yaml").write_text(thin, "utf-8")
        (shelf / f"layers-{14 * times}.yaml").write_text(spec.replace("birch-6", f"thin-{times}"), "utf-8")
        runs.append(build(work / "grown", shelf / f"layers-{14 * times}.yaml", statuses=(0, 1)))
        share = runs[-1].processor_seconds / runs[0].processor_seconds / times
        row(f"{14 * times}", runs[-1], f"{share:.2f} of what layers alone would make of it")


def middle(runs: Sequence[Run]) -> Run:
    """Return the run whose wall time is the median."""
    return sorted(runs, key=lambda run: run.seconds)[len(runs) // 2]


def stages(spec: Path, work: Path) -> None:
    """Print how long each stage takes, the first time in a process and once everything is imported."""
    from kerfwave.engine import Event, Store
    from kerfwave.engine import build as run
    from kerfwave.jobs import _load  # what stages start from is told there and nowhere else
    from kerfwave.stages import STAGES

    start = time.perf_counter()
    roots = _load(spec).roots
    took: list[dict[str, float]] = [{"load": time.perf_counter() - start}]
    for attempt in range(2):
        said: list[Event] = []
        run(STAGES, roots, Store(work / f"{spec.stem}-{attempt}"), want=("package",), listener=said.append)
        took.append({event.stage: event.seconds for event in said if event.word == "made"})
    print(f"\n{'stages of ' + spec.stem:<34} {'first':>10} {'again':>10}")
    print(f"{'(reading the spec)':<34} {took[0]['load']:8.3f} s")
    for stage in STAGES:
        print(f"{stage.name:<34} {took[1][stage.name]:8.3f} s {took[2][stage.name]:8.3f} s")
    print(f"{'sum':<34} {sum(took[1].values()):8.3f} s {sum(took[2].values()):8.3f} s")


def main() -> None:
    """Print the whole table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--growth", action="store_true", help="whole builds of 14, 28 and 56 layers instead")
    grow = asked.parse_args().growth
    with tempfile.TemporaryDirectory() as folder:
        print(f"Python {sys.version.split()[0]}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start\n")
        if grow:
            growth(Path(folder))
            return
        whole_builds(Path(folder))
        changes(Path(folder))
        for spec in SPECS:
            stages(spec, Path(folder))


if __name__ == "__main__":
    main()
