"""What the commands do: load, build, publish, report. Nothing heavy is imported unless something really runs."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwave import __version__, cli
from kerfwave.account import account_of, standing_account
from kerfwave.engine import (
    PublishError,
    StageError,
    Store,
    TerminalListener,
    Walker,
    build,
    cores,
    is_current,
    publish,
    recover,
)
from kerfwave.engine.files import advice
from kerfwave.filenames import MOST_CHARACTERS, RULE, names_a_package, text_of_name
from kerfwave.findings import Finding, SpecError, render, visible
from kerfwave.model.measured import Measured, MeasuredValue
from kerfwave.spec.shelf import sha256_of
from kerfwave.stages import STAGES, labels
from kerfwave.stages.source import Source

if TYPE_CHECKING:
    from kerfwave.engine import Results
    from kerfwave.model.parts import Check
    from kerfwave.spec import LoadedSpec

CACHE = ".cache"
MEASURED_SUFFIX = ".measured.yaml"
MOST_MEASURED_BYTES = 1 << 21  # twice what the reading takes, which says so


@dataclass(frozen=True, slots=True)
class Job:
    """One spec on its way through."""

    path: Path
    loaded: LoadedSpec
    measured: Measured
    sha256: Mapping[str, str]  # of every file that was read, by name; "" for one that was not there

    @property
    def roots(self) -> Mapping[str, Any]:
        """What the stages start from: a title and a comment reach the last of them only."""
        return {
            "spec": replace(self.loaded.spec, name=labels.NAME),
            "source": Source(self.stem, __version__),
            "measured": self.measured,
            "labels": labels.Labels(self.loaded.spec.name, self.loaded.sha256[0]),
        }

    @property
    def stem(self) -> str:
        """What the package's folder is called, as text in any locale."""
        return text_of_name(self.path.stem)


def run(specs: Sequence[str], out: str, *, write: bool, explain: bool, alone: bool = True) -> int:
    """Build or check specs one after another; the worst outcome is the exit status.

    `alone` says that the machine has nothing else to do for us: a second core may be used.
    """
    aside = alone and cores() > 1
    worst = cli.DONE
    seen: dict[str, str] = {}
    walker: Walker | None = None
    for name in specs:
        path = Path(name)
        target = Path(out) / path.stem
        try:
            if write and names_a_package(path.stem):
                recover(target)  # from a build that was killed, even if this one gets nowhere
            standing = _nothing_to_do(path, Path(out)) if write and not explain else None
            job = _load(path) if standing is None else None
            twin = seen.setdefault(path.stem, name)
            if twin != name:
                raise SpecError([_finding(name, f"'{twin}' and '{name}' would both be written to {path.stem}/")])
            if job is None:
                assert standing is not None
                worst = max(worst, _done(target, standing))
                continue
            store = Store(Path(out) / CACHE, _say)
            walker = walker or Walker(store.get_record("imports"))
            if write:
                worst = max(worst, _build_one(job, target, store, walker, explain, aside))
            else:
                worst = max(worst, _check_one(job, store, walker, explain))
        except SpecError as error:
            print(render(error.findings, _colour()), file=sys.stderr)
            worst = max(worst, cli.WRONG_INPUT)
        except PublishError as error:
            _say(str(error))
            worst = max(worst, cli.MACHINE_FAILED)
        except BrokenPipeError:
            raise  # whoever read our output has gone; the command line knows what to do
        except OSError as error:
            _say(f"{error.filename or name}: {advice(error)}; the last good package is untouched")
            worst = max(worst, cli.MACHINE_FAILED)
    return worst


def _show(findings: Sequence[Finding]) -> None:
    print(render(findings, _colour()), file=sys.stderr)


def _load(path: Path, tell: Callable[[Sequence[Finding]], None] = _show) -> Job:
    """Read a spec; `tell` gets the warnings, if there are any."""
    from kerfwave.spec import load

    loaded = load(path)
    if loaded.warnings:
        tell(loaded.warnings)
    if not names_a_package(path.stem):
        raise SpecError(
            [_finding(str(path), f"the file's name becomes the package's: use {RULE}, at most {MOST_CHARACTERS}")]
        )
    beside = path.with_name(path.stem + MEASURED_SUFFIX)
    read = dict(zip(map(str, loaded.files), loaded.sha256, strict=True)) | {str(beside): sha256_of(beside)}
    return Job(path, loaded, _measured(beside), read)


def _measured(beside: Path) -> Measured:
    """Return what was measured on the finished speaker, from the file beside its spec if there is one."""
    if not beside.is_file():
        return Measured()
    if not beside.resolve().is_relative_to(beside.absolute().parent.resolve()):
        raise SpecError([_finding(str(beside), "it is a link that leads out of the spec's folder; put a copy there")])
    from kerfwave.learn.records import QUANTITIES, read_records

    with beside.open("rb") as stream:
        raw = stream.read(MOST_MEASURED_BYTES)
    found = read_records(raw, shown=str(beside))
    return Measured(
        tuple(
            MeasuredValue(
                quantity=one.quantity,
                meaning=QUANTITIES[one.quantity].meaning,
                unit=QUANTITIES[one.quantity].unit,
                value=one.value,
                standard=one.standard,
                date=one.date,
                source=one.source,
            )
            for one in found.current
        )
    )


def _stages(
    job: Job,
    store: Store,
    walker: Walker,
    want: tuple[str, ...],
    explain: bool,
    label: str = "",
    aside: bool = False,
) -> Results:
    """Run the stages; what a stage cannot build becomes a finding at the key that causes it."""
    live = sys.stderr.isatty()
    listener = TerminalListener(sys.stderr, colour=_colour(), live=live, explain=explain) if live or explain else None
    try:
        return build(
            STAGES,
            job.roots,
            store,
            want=want,
            label=label or job.stem,
            listener=listener,
            explain=explain,
            walker=walker,
            aside=aside,
        )
    except StageError as error:
        file, line, column, text = job.loaded.locate(error.where)
        raise SpecError(
            [
                Finding(
                    "K502",
                    "error",
                    file,
                    line,
                    column,
                    error.message,
                    why=f"found by the stage {error.stage}",
                    source_line=text,
                )
            ]
        ) from error


def _nothing_to_do(spec: Path, out: Path) -> Mapping[str, Any] | None:
    """Return the record of the last build if nothing it read has changed and its package stands as it was put."""
    target = out / spec.stem
    if not (out / CACHE).is_dir():
        return None
    record: dict[str, Any] = Store(out / CACHE).get_record(_record(spec.stem)) or {}
    if not is_current(target, str(record.get("stamp"))):
        return None
    found = standing_account(spec, record)
    if found is None:
        return None
    if found.warnings:
        _show(found.warnings)
    if sys.stderr.isatty():
        _say("nothing has changed since the last build")
    return record


def _build_one(job: Job, target: Path, store: Store, walker: Walker, explain: bool, aside: bool) -> int:
    # Before anything runs: what changes meanwhile shall count as changed.
    account = account_of(job.path, job.sha256, job.loaded.warnings).record
    results = _stages(job, store, walker, ("package",), explain, aside=aside)
    before = store.get_record(_record(job.stem)) or {}
    digest = results.digest("package")
    if before.get("digest") == digest and is_current(target, str(before.get("stamp"))):
        now = before | account
    else:
        package = results["package"]
        done = publish(
            {name: text.encode() for name, text in package.files}, target, lambda: _say("waiting for another build")
        )
        if done.kept is not None:
            _say(f"files changed by hand were kept in {done.kept}")
        made = {"digest": digest, "stamp": done.stamp, "failed": list(package.failed), "outcome": package.outcome}
        now = made | account
    if now != before:
        store.put_record(_record(job.stem), now)
    return _done(target, now)


def _record(stem: str) -> str:
    return f"package:{stem}"


def _done(target: Path, record: Mapping[str, Any]) -> int:
    print(target)
    for text in record["failed"]:
        _say(f"design check failed: {text}")
    outcome = str(record["outcome"])
    if outcome != "proceed":
        _say(f"safety: {outcome.replace('-', ' ')}; the guide says what")
    return cli.FAILED_CHECK if record["failed"] else cli.DONE


def _check_one(job: Job, store: Store, walker: Walker, explain: bool) -> int:
    checks = _checks(job, store, walker, explain)
    for check in checks:
        print(f"{job.path}: {check.level:<4} {check.id}: {check.text}")
    return cli.FAILED_CHECK if any(c.level == "fail" for c in checks) else cli.DONE


def _checks(job: Job, store: Store, walker: Walker, explain: bool = False) -> list[Check]:
    # The recipe has no checks, but refuses a sheet that must not go under the beam.
    results = _stages(job, store, walker, ("recipe", "response", "body", "rules", "slices"), explain)
    return [c for stage in ("response", "body", "rules", "slices") for c in results[stage].checks]


def _report(path: Path, out: str) -> dict[str, Any]:
    if path.suffix.lower() not in (".yaml", ".yml"):
        from kerfwave.compare import load_report

        return load_report(path)
    import json

    job = _load(path)
    store = Store(Path(out) / CACHE, _say)
    results = _stages(job, store, Walker(store.get_record("imports")), ("package",), explain=False)
    report: dict[str, Any] = json.loads(dict(results["package"].files)["report.json"])
    return report


def _finding(file: str, message: str) -> Finding:
    return Finding("K501", "error", file, 1, 1, message)


def _colour() -> bool:
    import os

    return sys.stderr.isatty() and "NO_COLOR" not in os.environ


def _say(text: str) -> None:
    print(f"kerfwave: {visible(text)}", file=sys.stderr)
