"""The command `compare`: tells two packages, specs, or a spec at a git revision apart.

Results go to standard output or a file, messages to standard error; nothing heavy is imported before it is needed.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwave import cli, jobs
from kerfwave.engine import Store, Walker, encode
from kerfwave.engine.files import FULL, advice, write_atomic
from kerfwave.engine.history import History
from kerfwave.findings import Finding, SpecError, visible
from kerfwave.stages import STAGES

if TYPE_CHECKING:
    from kerfwave.compare import Comparison
    from kerfwave.compare.revision import Revised

FORMATS = ("text", "markdown", "html", "json")
_EACH = "a package folder, a spec file, or a spec at a git revision (spec.yaml@REV)"
_MEASURED = "measured"  # what was measured stands beside the spec, and counts for what is built


def add_parser(commands: Any) -> None:
    """Add `compare` to the command line."""
    compare = commands.add_parser(
        "compare",
        help="tell two packages or specs apart",
        description="Tell two packages apart, or two specs, or a spec at two git revisions: numbers that moved, pieces "
        "that changed, sheets that can still be used. Exit status: 0 the same, 1 different, 2 one cannot be read.",
    )
    compare.add_argument("a", metavar="A", help=_EACH)
    compare.add_argument("b", metavar="B", help=_EACH)
    compare.add_argument("--out", default="out", metavar="DIR", help="where the cache lies (default: out)")
    compare.add_argument("--format", choices=FORMATS, default="text", help="of what is written (default: text)")
    compare.add_argument("--json", action="store_const", const="json", dest="format", help="the same as --format json")
    compare.add_argument("-o", "--output", metavar="FILE", help="write to a file instead of standard output")


@dataclass(frozen=True, slots=True)
class _Side:
    """A or B: its report, and what is known beyond that of a spec."""

    report: dict[str, Any]
    job: jobs.Job | None = None
    keys: Mapping[str, tuple[str, str]] | None = None  # (key, output) of each stage
    shown: tuple[str, str] = ("", "")  # how paths begin, and how they are to be shown


def run(arguments: argparse.Namespace) -> int:
    """Do what the command line asks; return the exit status: 0 the same, 1 different, 2 the input is wrong."""
    target = None if arguments.output is None else Path(arguments.output)
    if target is not None and (target.is_dir() or target.suffix.lower() in (".yaml", ".yml")):
        jobs._say(f"{visible(str(target))}: a comparison is not written over a spec or a folder")
        return cli.WRONG_INPUT
    with contextlib.ExitStack() as stack:
        try:
            a, b = (_side(name, arguments.out, stack) for name in (arguments.a, arguments.b))
        except SpecError as error:
            jobs._show(error.findings)
            return cli.WRONG_INPUT
        except (ValueError, OSError) as error:
            if isinstance(error, OSError) and error.errno in FULL:
                jobs._say(advice(error))
                return cli.MACHINE_FAILED
            jobs._say(str(error))
            return cli.WRONG_INPUT
        found = _compare(a, b)
        text = _rendered(found, a, b, arguments.format)
    if target is None:
        print(text, end="")
    else:
        try:
            write_atomic(target, text.encode("utf-8", "replace"))
        except OSError as error:
            jobs._say(f"{target}: {advice(error)}")
            return cli.MACHINE_FAILED
    return cli.DONE if found.same else cli.FAILED_CHECK


def _side(name: str, out: str, stack: contextlib.ExitStack) -> _Side:
    from kerfwave.compare import load_report
    from kerfwave.compare.revision import fetch, split

    at = split(name)
    if at is not None:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="kerfwave-")))
        revised = fetch(*at, folder)
        return _built(revised.path, out, at[1], revised)
    path = Path(name)
    if path.suffix.lower() in (".yaml", ".yml"):
        return _built(path, out, "", None)
    return _Side(load_report(path))


def _built(path: Path, out: str, revision: str, revised: Revised | None) -> _Side:
    """Build a spec as far as its report; what is found in a revision's files is told under their names there."""
    shown = ("", "") if revised is None else (f"{revised.root.as_posix()}/", f"{revision}:")

    def renamed(findings: Sequence[Finding]) -> list[Finding]:
        return [replace(one, file=_shown(one.file, shown), message=_shown(one.message, shown)) for one in findings]

    try:
        job = jobs._load(path, lambda findings: jobs._show(renamed(findings)))
        store = Store(Path(out) / jobs.CACHE, jobs._say)
        # A label of its own: what `--explain` says of the next build is measured from the last build, not from this.
        label = f"compare:{job.stem}"
        results = jobs._stages(
            job, store, Walker(store.get_record("imports")), ("package",), explain=False, label=label
        )
        report: dict[str, Any] = json.loads(dict(results["package"].files)["report.json"])
    except SpecError as error:
        raise SpecError(renamed(error.findings)) from error
    stages = History.read(store, label).stages
    keys = {name: (str(entry.get("key")), str(entry.get("output"))) for name, entry in stages.items()}
    return _Side(report, job, keys, shown)


def _compare(a: _Side, b: _Side) -> Comparison:
    from kerfwave import compare as comparing

    found = comparing.compare(a.report, b.report)
    if a.job is None or b.job is None or a.keys is None or b.keys is None:
        return found
    old, new = (_encoded(side.job) for side in (a, b) if side.job is not None)
    changes = tuple(
        replace(change, place=_place(b if change.word != "removed" else a, change.path))
        for change in comparing.spec_changes(old, new)
    )
    order = [stage.name for stage in STAGES if stage.name not in ("pages", "package")]  # which hold all the others
    reached = comparing.reached_in_builds(a.keys, b.keys, order)
    reached = reached if any(one.word != "untouched" for one in reached) else ()
    return replace(found, spec_changes=changes, reached=reached)


def _encoded(job: jobs.Job) -> dict[str, Any]:
    """Return the values of a spec, and what was measured beside it, as dicts, lists and scalars."""
    values: dict[str, Any] = encode(job.loaded.spec)
    return values | {_MEASURED: encode(job.measured)}


def _place(side: _Side, path: str) -> str:
    """Return file and line of a leaf; none for what was measured, which is no part of the spec."""
    assert side.job is not None
    steps: list[str | int] = []
    for part in path.split("."):
        name, *indices = part.replace("]", "").split("[")
        steps += [name, *(int(index) for index in indices if index.isdigit())]
    if steps[0] == _MEASURED:
        return ""
    if steps[0] == "recipes":
        names = [entry.name for entry in side.job.loaded.spec.recipes]
        index = next((i for i, name in enumerate(names) if path.startswith(f"recipes.{name}")), None)
        steps = ["recipes"] if index is None else ["recipes", index, path.rpartition(".")[2]]
    file, line, _, _ = side.job.loaded.locate(tuple(steps))
    return f"{_shown(file, side.shown)}:{line}"


def _shown(text: str, shown: tuple[str, str]) -> str:
    return text.replace(*shown) if shown[0] else text


def _rendered(found: Comparison, a: _Side, b: _Side, format_: str) -> str:
    from kerfwave import compare as comparing

    if format_ == "markdown":
        return comparing.render_markdown(found)
    if format_ == "html":
        return comparing.render_page(found, a.report, b.report)
    if format_ == "json":
        return json.dumps(comparing.to_json(found), indent=1, sort_keys=True, ensure_ascii=False) + "\n"
    return comparing.render_text(found)
