"""The command `explore`: many variants of one spec, each built up to a chosen stage, into one table.

Work goes through `concurrent.futures`: on this machine's cores (`--jobs`), or on those of a Dask cluster
(`--scheduler`), whose client has the same interface. A row depends on its variant's text alone, so it does not matter
who made it, nor when.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwave import cli
from kerfwave.file_jobs import Refused, guarded, publish_aside, say
from kerfwave.filenames import text_of_name
from kerfwave.findings import visible

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from kerfwave.explore.table import Row
    from kerfwave.explore.variants import Variant
    from kerfwave.explore.vary import Value, Vary

# A spec need not ask for bass, and a closed box has no relief.
USUAL_PLOTS = ("relief,bass", "relief,level", "ripple,level")
STAGES_TO = ("response", "slices", "nest", "paths", "package")


def add_parser(commands: Any) -> None:
    """Add `explore` to the command line."""
    explore = commands.add_parser(
        "explore",
        help="build many variants of one spec into a table",
        description="Build many variants of one spec, each up to a chosen stage, into one table, CSV and HTML, with a "
        "picture of what is gained and what it costs. Exit status 1: no variant keeps all its checks.",
    )
    explore.add_argument("spec", metavar="SPEC", help="a spec file (YAML)")
    explore.add_argument(
        "--vary",
        action="append",
        type=text_of_name,
        required=True,
        metavar="KEY=VALUES",
        help="driver=drivers/a.yaml,drivers/b.yaml or enclosure.plan.depth_mm=200..240/5 (five steps); more than one "
        "makes a grid",
    )
    explore.add_argument("--sample", type=int, metavar="N", help="draw N variants instead of taking the whole grid")
    explore.add_argument("--seed", type=int, default=1, help="of the sample (default: 1)")
    explore.add_argument("--to", choices=STAGES_TO, default="response", help="the last stage (default: response)")
    explore.add_argument(
        "--plot",
        metavar="X,Y",
        help="figures of the picture (default: relief,bass; relief,level where no bass is asked for)",
    )
    explore.add_argument(
        "--jobs", type=cli.processes, default=1, metavar="N", help="processes on this machine (default: 1)"
    )
    explore.add_argument("--scheduler", metavar="ADDRESS", help="of a Dask cluster to work on instead")
    explore.add_argument("--out", default="out", metavar="DIR", help="where the table and the cache go (default: out)")


def run(arguments: argparse.Namespace) -> int:
    """Do what the command line asks; return the exit status: 1 if no variant keeps all its checks."""
    return guarded(str(arguments.spec), lambda: _run(arguments))


def _run(arguments: argparse.Namespace) -> int:
    from kerfwave.explore import table
    from kerfwave.explore.variants import variants
    from kerfwave.explore.vary import VaryError, grid, read_vary, sample

    if arguments.plot is not None and arguments.plot.count(",") != 1:
        raise Refused("--plot takes two names, such as relief,bass or a key that is varied")
    spec, out = Path(arguments.spec), Path(arguments.out)
    try:
        varied = [read_vary(text) for text in arguments.vary]
        rows = grid(varied) if arguments.sample is None else sample(varied, arguments.sample, arguments.seed)
        made = variants(spec, varied, rows)
    except VaryError as error:
        raise Refused(visible(str(error))) from error
    cache = str((out / ".cache").resolve())
    found: list[Row] = []
    with _executor(arguments) as executor:
        waiting = [executor.submit(row_of, one, arguments.to, cache) for one in made]
        for done, future in enumerate(waiting, start=1):
            found.append(future.result())
            if len(made) > 1 and (done == len(made) or done % max(1, len(made) // 20) == 0):
                say(f"{done} of {len(made)}")
    kept = sum(row.verdict == table.KEPT for row in found)
    print(publish_aside(_files(arguments, varied, made, found), out, f"explore-{spec.stem}"))
    say(f"{kept} of {len(found)} keep every check")
    if all(row.verdict == table.REFUSED for row in found):
        say(f"none of them can be built; the first: {visible(found[0].note)}")
    return cli.DONE if kept else cli.FAILED_CHECK


def row_of(variant: Variant, to: str, cache: str) -> Row:
    """Build one variant up to a stage and return its row. Runs wherever the work is done; writes only to the cache."""
    from tempfile import TemporaryDirectory

    from kerfwave import jobs
    from kerfwave.engine import Store, Walker
    from kerfwave.explore.table import FAILS, KEPT, REFUSED, Row
    from kerfwave.findings import SpecError

    with TemporaryDirectory(prefix="kerfwave-") as folder:
        for name, text in variant.files:
            path = Path(folder) / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, "utf-8")
        try:
            job = jobs._load(Path(folder) / variant.files[0][0], lambda findings: None)
            store = Store(Path(cache), lambda text: None)
            results = jobs._stages(job, store, Walker(store.get_record("imports")), _wanted(job, to), explain=False)
            checks, figures = _found(results)
        except SpecError as error:
            first = next((one for one in error.findings if one.level == "error"), error.findings[0])
            return Row(variant.number, variant.values, REFUSED, (), first.message)
    failed = [check.text for check in checks if check.level == "fail"]
    return Row(variant.number, variant.values, FAILS if failed else KEPT, figures, "; ".join(failed))


def _wanted(job: Any, to: str) -> tuple[str, ...]:
    """Return the stages on the way to `to`, itself included."""
    from kerfwave.engine import graph
    from kerfwave.stages import STAGES

    return tuple(stage.name for stage in graph.plan(STAGES, job.roots, (to,)))


def _found(results: Any) -> tuple[list[Any], tuple[tuple[str, float], ...]]:
    """Return all checks that the stages made, and their numbers, with a few that are no checks."""
    checks = [check for name in results for check in getattr(results[name], "checks", ())]
    figures = {check.id: check.value for check in checks if check.value is not None}
    if "nest" in results:
        figures["sheets"] = float(len(results["nest"].sheets))
    if "paths" in results:
        figures["laser"] = sum(program.time_s for program in results["paths"].programs) / 3600.0
    return checks, tuple((name, float(value)) for name, value in figures.items())


@contextmanager
def _executor(arguments: argparse.Namespace) -> Iterator[Executor]:
    """Give who does the work: a Dask cluster's client in the clothes of an executor, or processes of our own."""
    if arguments.scheduler is None:
        from concurrent.futures import BrokenExecutor

        from kerfwave.engine import PublishError
        from kerfwave.parallel_jobs import LOST, NoWorkers, workers

        try:
            with workers(arguments.jobs) as pool:
                yield pool
        except BrokenExecutor:
            raise PublishError(f"{LOST}; no table was written") from None
        except NoWorkers as error:
            raise PublishError(f"{error}; no table was written") from error
        return
    from importlib import import_module

    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise Refused("--scheduler needs Dask: pip install 'kerfwave[dask]'") from None
    try:
        client = distributed.Client(arguments.scheduler, timeout="10s")
    except (OSError, ValueError) as error:
        raise Refused(f"no Dask scheduler answers at {visible(arguments.scheduler)}: {error}") from error
    with client:
        yield client.get_executor(retries=3)


def _files(
    arguments: argparse.Namespace, varied: Sequence[Vary], made: Sequence[Variant], found: Sequence[Row]
) -> dict[str, str]:
    """Return the table as CSV and as a page, and every variant as a spec that can be built."""
    from kerfwave.explore import table
    from kerfwave.writers.explored import render_explored

    keys = [one.key for one in varied]
    names = table.figure_names(found)
    kept = sum(row.verdict == table.KEPT for row in found)
    how = "the whole grid" if arguments.sample is None else f"a sample, seed {arguments.seed}"
    summary = f"{len(found)} variants ({how}), built up to the stage {arguments.to}; {kept} keep every check."
    title = f"{text_of_name(Path(arguments.spec).stem)}: {', '.join(keys)}"
    rows = [table.cells(row, names) for row in found]
    files = {
        "table.csv": table.csv_of(keys, found),
        "table.html": render_explored(
            title, summary, _pictures(arguments.plot, keys, found), table.head(keys, found), rows
        ),
    }
    width = len(str(len(made)))
    for one in made:
        folder = f"variants/{one.number:0{width}d}"
        files |= {f"{folder}/{name}": text for name, text in one.files}
    return files


def _pictures(plot: str | None, keys: Sequence[str], found: Sequence[Row]) -> list[tuple[str, str]]:
    """Return the picture asked for, if its two figures were found; unasked, the first of the usual that they were."""
    from kerfwave.explore.table import KEPT, label
    from kerfwave.writers.explored import Dot, scatter

    choices = USUAL_PLOTS if plot is None else (plot,)
    for choice in choices:
        wanted = [one.strip() for one in choice.split(",")]
        dots = []
        for row in found:
            numbers: dict[str, Value] = {**dict(zip(keys, row.values, strict=True)), **dict(row.figures)}
            at = [numbers.get(one) for one in wanted]
            if all(isinstance(one, int | float) and not isinstance(one, bool) for one in at):
                dots.append(Dot(row.number, float(at[0] or 0), float(at[1] or 0), row.verdict == KEPT))
        if dots:
            labels = [one if one in keys else label(one) for one in wanted]
            return [(f"{labels[1]} over {labels[0]}", scatter(dots, x_label=labels[0], y_label=labels[1]))]
    say(f"no picture: no variant has both figures {visible(choices[-1])}; the table's headings name what there is")
    return []
