"""Mutation testing: small faults are put into the code, one at a time, and the tests must notice.

    python tests/bench/mutants.py acoustics|checker [--seed 1] [--sample 300] [--only MODULE] [--again FILE]

First the room's tests run once under coverage, which says what test runs what line and how long it takes. Then each
mutant lives in a process of its own, forked from one that has collected the tests: the faulty functions are compiled
from memory and take the place of the right ones, the tests that run the line follow, quickest first, until one fails.
A mutant that crashes or hangs is noticed as well. Nothing is written into the tree. `equivalent_mutants.txt` lists
faults that are none, and why; they do not count.
"""

from __future__ import annotations

import argparse
import ast
import inspect
import json
import os
import random
import resource
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import FunctionType, ModuleType

# Before numpy is imported: one thread, as a fork has no others.
os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}

import coverage
import hypothesis
import pytest
from _pytest.runner import runtestprotocol
from faults_in_code import Mutant, mutants_of

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "compiler"
EQUIVALENT = Path(__file__).with_name("equivalent_mutants.txt")

CUT = (
    "check",
    "course",
    "follow",
    "markcheck",
    "readback",
    "verdict",
    "correction",
    "placing",
    "settings",
    "scored",
    "straight",
)
OUTSIDE = tuple(  # not those of the sound field, which take minutes
    f"tests/sources/test_acoustics_{name}.py"
    for name in ("air", "bends", "boxes", "driver", "ducts", "ends", "lines", "listening")
)
ROOMS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "acoustics": (
        ("kerfwave/acoustics/*.py",),
        ("tests/acoustics", "tests/sources/test_biquads.py", *OUTSIDE),
    ),
    "checker": (
        tuple(f"kerfwave/cut/{name}.py" for name in CUT),
        ("tests/cut", "tests/sources/test_rs274_programs.py", "tests/writers/test_gcode.py"),
    ),
}  # fmt: skip
HEAVY_MB = 4096
CRASHED = 70

# --- which test runs what -------------------------------------------------------------------------------------------


def forked(work: Callable[[], int], limit_s: float) -> int | None:
    """Return what some work gives in a process of its own; None if it crashed or ran into its limit."""
    child = os.fork()
    if child == 0:
        os.setsid()
        nowhere = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(nowhere, stream)
        resource.setrlimit(resource.RLIMIT_CPU, (int(limit_s) + 1, int(limit_s) + 3))
        resource.setrlimit(resource.RLIMIT_AS, (HEAVY_MB << 20, HEAVY_MB << 20))
        signal.alarm(4 * int(limit_s) + 30)  # nothing catches it: also ends what sleeps
        status = CRASHED
        try:
            status = work()
        finally:
            os._exit(status)
    _, status = os.waitpid(child, 0)
    return os.WEXITSTATUS(status) if os.WIFEXITED(status) else None


def passes(item: pytest.Item, following: pytest.Item | None) -> bool:
    """Run one test, its fixtures included."""
    return all(report.outcome == "passed" for report in runtestprotocol(item, log=False, nextitem=following))


def test_map(modules: Sequence[Path], items: Sequence[pytest.Item], out: Path) -> dict:
    """Run all tests once under coverage; return the tests of each line of each module, and the seconds of each test."""

    def work() -> int:
        watch = coverage.Coverage(data_file=None, include=[str(m) for m in modules])
        watch.start()
        seconds, failed = {}, []
        for item, following in zip(items, [*items[1:], None], strict=True):
            watch.switch_context(item.nodeid)
            begun = time.perf_counter()
            if not passes(item, following):  # or is left out here: it can notice nothing
                failed.append(item.nodeid)
            seconds[item.nodeid] = time.perf_counter() - begun
        watch.stop()
        data = watch.get_data()
        lines = {
            str(m.relative_to(SOURCE)): {
                line: sorted(c for c in contexts if c and c not in failed)
                for line, contexts in data.contexts_by_lineno(str(m)).items()
            }
            for m in modules
        }
        out.write_text(json.dumps({"lines": lines, "seconds": seconds, "failed": failed}))
        return 0

    forked(work, 3600)
    return json.loads(out.read_text())


def tests_for(mutant: Mutant, known: dict, most_s: float) -> list[str]:
    """Return the tests that may notice a mutant, quickest first, `most_s` of them at most, but one."""
    lines: dict[str, list[str]] = known["lines"].get(str(mutant.path.relative_to(SOURCE)), {})

    def of(numbers: Sequence[int]) -> set[str]:
        return {test for n in numbers for test in lines.get(str(n), ())}

    found = of([mutant.line]) or of([mutant.first])
    if not found and not mutant.inside:  # a constant of the module: the lines that name it
        text = mutant.path.read_text("utf-8").splitlines()
        name = text[mutant.first - 1].split("=")[0].split(":")[0].strip()
        found = of([n for n, line in enumerate(text, 1) if name and name in line]) or of(range(1, len(text) + 1))
    elif not found and mutant.first == mutant.lines[0]:  # what a function takes by default, on whatever line
        found = of(range(mutant.lines[0], mutant.lines[1] + 1))
    seconds: dict[str, float] = known["seconds"]
    chosen, total = [], 0.0
    for test in sorted(found, key=lambda t: (seconds[t], t)):
        total += seconds[test]
        if chosen and total > most_s:
            break
        chosen.append(test)
    return chosen


# --- one mutant after the other -------------------------------------------------------------------------------------


def functions(value: object) -> Iterator[FunctionType]:
    """Yield the plain functions behind a name of a module or a class."""
    if isinstance(value, property):
        yield from (part for part in (value.fget, value.fset) if isinstance(part, FunctionType))
        return
    inner = inspect.unwrap(getattr(value, "__func__", value)) if callable(value) or hasattr(value, "__func__") else None
    if isinstance(inner, FunctionType):
        yield inner


def put_in(mutant: Mutant, tree: ast.Module) -> None:
    """Make the imported module behave as the faulty text would: its functions change in place, whoever holds them."""
    mutant.apply()
    old = sys.modules[mutant.module]
    new = ModuleType(mutant.module)
    new.__dict__.update(__file__=old.__file__, __package__=old.__package__)
    exec(compile(ast.fix_missing_locations(tree), str(mutant.path), "exec"), new.__dict__)
    pairs: list[tuple[object, object]] = []
    for name, value in vars(old).items():
        if getattr(value, "__module__", None) == mutant.module:
            pairs.append((value, vars(new)[name]))
            if isinstance(value, type):
                pairs += [(v, vars(vars(new)[name])[n]) for n, v in vars(value).items() if n in vars(vars(new)[name])]
    for one, other in pairs:
        for mine, faulty in zip(functions(one), functions(other), strict=True):
            mine.__code__, mine.__defaults__ = faulty.__code__, faulty.__defaults__
            mine.__kwdefaults__ = faulty.__kwdefaults__
    if not mutant.inside:
        for name, value in list(vars(old).items()):
            if name.startswith("__") or isinstance(value, type | ModuleType) or callable(value):
                continue
            for holder in list(sys.modules.values()):  # constants that others imported by name
                if getattr(holder, "__name__", "").startswith("kerfwave") and vars(holder).get(name) is value:
                    setattr(holder, name, vars(new)[name])


def outcome(mutant: Mutant, tree: ast.Module, tests: Sequence[pytest.Item], seconds: dict[str, float]) -> str:
    """Return what came of one mutant."""
    if not tests:
        return "not run"

    def work() -> int:
        put_in(mutant, tree)
        followers = [*tests[1:], None]
        return 0 if all(passes(test, following) for test, following in zip(tests, followers, strict=True)) else 1

    code = forked(work, 10 + 4 * sum(seconds[test.nodeid] for test in tests))
    return {0: "survived", 1: "noticed"}.get(CRASHED if code is None else code, "crashed or hung")


def equivalents() -> dict[str, str]:
    """Return the faults that are none, and why."""
    rows = [line.rsplit(" | ", 1) for line in EQUIVALENT.read_text("utf-8").splitlines() if " | " in line]
    return {key.strip(): why.strip() for key, why in rows}


class Campaign:
    """Plugin of pytest: when all tests are collected and all that they import is there, it forks for each mutant."""

    def __init__(self, asked: argparse.Namespace, modules: Sequence[Path]) -> None:
        self.asked = asked
        self.modules = modules
        self.trees: dict[Path, ast.Module] = {}
        every: list[Mutant] = []
        for module in modules:
            self.trees[module], found = mutants_of(module, SOURCE)
            every += [m for m in found if not asked.only or module.stem in asked.only]
        self.every = self.chosen = every
        if 0 < asked.sample < len(every):
            drawn = sorted(random.Random(asked.seed).sample(range(len(every)), asked.sample))
            self.chosen = [every[k] for k in drawn]
        if asked.again:
            before = asked.again.read_text("utf-8")
            self.chosen = [m for m in self.chosen if f": {m.key()}\n" in before]

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self) -> None:
        """Let property tests search as ever, without making an example that fails smaller."""
        phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
        hypothesis.settings.register_profile("mutants", deadline=None, derandomize=True, phases=phases)
        hypothesis.settings.load_profile("mutants")

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Run the campaign instead of the tests."""
        begun = time.monotonic()
        items = {item.nodeid: item for item in session.items}
        if self.asked.map and self.asked.map.exists():
            known = json.loads(self.asked.map.read_text())
        else:
            with tempfile.TemporaryDirectory() as name:
                known = test_map(self.modules, session.items, self.asked.map or Path(name) / "map.json")
        print(f"{len(items)} tests, {len(known['failed'])} of no use, {time.monotonic() - begun:.0f} s", flush=True)
        there = {m.key() for m in self.every}
        equal = equivalents()
        for key in equal:
            if key not in there and key.split(".py")[0] in {m.path.stem for m in self.every}:
                print(f"no longer there: {key}")
        counts: dict[str, Counter[str]] = {}
        for number, mutant in enumerate(self.chosen, 1):
            mine = tests_for(mutant, known, self.asked.most)
            said = outcome(
                mutant, self.trees[mutant.path], [items[test] for test in mine if test in items], known["seconds"]
            )
            if mutant.key() in equal and said in ("survived", "not run"):
                said = "equivalent"
            counts.setdefault(mutant.path.stem, Counter())[said] += 1
            if said in ("survived", "not run"):
                print(f"{said}, {len(mine)} tests, line {mutant.line}: {mutant.key()}", flush=True)
            if number % 50 == 0:
                print(
                    f"   {number} of {len(self.chosen)}, {time.monotonic() - begun:.0f} s", file=sys.stderr, flush=True
                )
        tell(counts)
        print(f"{len(self.chosen)} of {len(self.every)} mutants, {time.monotonic() - begun:.0f} s")
        return True


def tell(counts: dict[str, Counter[str]]) -> None:
    """Print the score of each module and of all."""
    total: Counter[str] = sum(counts.values(), Counter())
    print(f"\n{'module':14} mutants  equivalent  noticed  share")
    for stem, count in [*sorted(counts.items()), ("all", total)]:
        caught = count["noticed"] + count["crashed or hung"]
        real = sum(count.values()) - count["equivalent"]
        share = 100 * caught / max(1, real)
        print(f"{stem:14} {sum(count.values()):7} {count['equivalent']:11} {caught:8} {share:5.1f} %")


def main() -> int:
    """Run a campaign and say what survived."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("room", choices=ROOMS)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--sample", type=int, default=0, help="so many, drawn by the seed; all if not given")
    words.add_argument("--only", action="append", default=[], help="only of the modules with this name")
    words.add_argument("--map", type=Path, help="what test runs what: taken from this file, or written there")
    words.add_argument("--most", type=float, default=60, metavar="SECONDS", help="of tests for one mutant (60)")
    words.add_argument("--again", type=Path, help="only what survived according to the output in this file")
    words.add_argument("--list", action="store_true", help="only say which mutants there are")
    asked = words.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(SOURCE))
    os.environ["PYTHONPATH"] = str(SOURCE)  # for tests that start the program
    sys.dont_write_bytecode = True
    patterns, tests = ROOMS[asked.room]
    campaign = Campaign(asked, sorted({m for p in patterns for m in SOURCE.glob(p)}))
    if asked.list:
        print(*(f"{m.line}: {m.key()}" for m in campaign.chosen), sep="\n")
        return 0
    paths = sorted(str(p.relative_to(ROOT)) for t in tests for p in ROOT.glob(t))
    options = ["-q", "-s", "--no-header", "-p", "no:cacheprovider", "-p", "no:cov", *paths]
    return int(pytest.main(["-W", "ignore::pytest.PytestAssertRewriteWarning", *options], [campaign]))


if __name__ == "__main__":
    raise SystemExit(main())
