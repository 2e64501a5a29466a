"""A campaign of bad input: tens of thousands of spoilt specs and shelves, and what came of each.

    python tests/bench/hostile_inputs.py [--inputs 20000] [--from 0] [--builds 300] [--kind KIND] [--seconds 10]

Each input is read, as every command begins; of those that are taken, evenly chosen ones go through a whole build.
The inputs are drawn in `tests/hostile.py`, what must hold of the outcome stands in `tests/wards.py`; both have a small
share in the ordinary tests. An input is run again by its number: `--from NUMBER --inputs 1`.
"""

from __future__ import annotations

import argparse
import contextlib
import faulthandler
import io
import os
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from hostile import case
from kerfwave import cli, jobs
from kerfwave.engine.packagefiles import stamp_of
from kerfwave.findings import SpecError, render
from wards import Watch, of_package, of_words

HANG_S = 900  # by the clock, for a machine that has other work; --seconds counts processor time


def reading(spec: Path) -> tuple[str, str]:
    """Return the outcome of reading one spec, and all that was said."""
    said: list[str] = []
    try:
        jobs._load(spec, lambda found: said.append(render(found, False)))
    except SpecError as error:
        return f"refused {error.findings[0].code}", render(error.findings, False)
    except OSError as error:
        return "machine failed", str(error)
    return "taken", "".join(said)


def building(spec: Path, out: Path) -> tuple[str, str, list[str]]:
    """Return the outcome of a whole build, all that was said, and what is wrong with what it left."""
    package = out / spec.stem
    before = stamp_of(package)
    words = io.StringIO()
    with contextlib.redirect_stdout(words), contextlib.redirect_stderr(words):
        status = cli.main(["build", str(spec), "--out", str(out)])
    wrong = [] if status in (cli.DONE, cli.FAILED_CHECK, cli.WRONG_INPUT) else [f"status {status}"]
    after = stamp_of(package)
    if status == cli.WRONG_INPUT and after != before:
        wrong.append("the last good package was touched")
    if status in (cli.DONE, cli.FAILED_CHECK):
        wrong += of_package(package) if after else ["the package is not whole"]
    return f"status {status}", words.getvalue(), wrong


def main() -> int:
    """Run the campaign and print its table; return 1 if something was found."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--inputs", type=int, default=20_000)
    arguments.add_argument("--from", type=int, default=0, dest="first")
    arguments.add_argument("--builds", type=int, default=300, help="at most so many whole builds")
    arguments.add_argument("--every", type=int, default=12, help="build one of so many that are taken")
    arguments.add_argument("--kind", default="")
    arguments.add_argument("--seconds", type=float, default=10.0, help="of processor time count as a hang")
    chosen = arguments.parse_args()
    watch, faults, taken, built = Watch(), 0, 0, 0
    outcomes: Counter[tuple[str, str]] = Counter()
    slowest: list[tuple[float, str]] = []
    print(f"load {os.getloadavg()[0]:.1f}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        home, out = Path(folder), Path(folder) / "out"
        for seed in range(chosen.first, chosen.first + chosen.inputs):
            one = case(seed, chosen.kind)
            try:
                spec = one.write(home)
            except (OSError, ValueError):  # a name that this file system does not take
                outcomes[one.kind, "not to be written"] += 1
                continue
            whole = False
            faulthandler.dump_traceback_later(HANG_S, exit=True)
            start = time.process_time()
            with watch.over(home / "specs", out) as astray:
                wrong: list[str] = []
                try:
                    outcome, said = reading(spec)
                    if outcome == "taken":
                        taken += 1
                        whole = taken % chosen.every == 0 and built < chosen.builds
                    if whole:
                        built += 1
                        outcome, said, wrong = building(spec, out)
                        outcome = f"built: {outcome}"
                except BaseException as error:
                    if isinstance(error, KeyboardInterrupt):
                        raise
                    outcome, said, wrong = "crashed", "", [f"{type(error).__name__}: {error}"]
            seconds = time.process_time() - start
            faulthandler.cancel_dump_traceback_later()
            wrong = [*wrong, *astray, *of_words(said)]
            if seconds > chosen.seconds and not whole:
                wrong.append(f"{seconds:.1f} s")
            slowest = sorted([*slowest, (seconds, f"{seed} {one.kind} {outcome}")], reverse=True)[:8]
            outcomes[one.kind, outcome] += 1
            faults += bool(wrong)
            for text in wrong[:5]:
                print(f"input {seed} ({one.kind}, {outcome}): {text}", flush=True)
    for (kind, outcome), count in sorted(outcomes.items()):
        print(f"{kind:10} {outcome:24} {count:6}")
    print(f"{sum(outcomes.values())} inputs, {taken} taken, {built} built whole, {faults} with a fault")
    print("slowest:", *(f"  {seconds:6.1f} s  {name}" for seconds, name in slowest), sep="\n")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
