"""The command `promise`: is a built speaker what its package promised; and if not, why."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwave import cli
from kerfwave.file_jobs import Refused, bytes_of, guarded, json_of, number_of, publish_aside, say, sweep_of
from kerfwave.findings import visible

if TYPE_CHECKING:
    from kerfwave.measure.impedance import ImpedanceSweep


def add_parser(commands: Any) -> None:
    """Add `promise` to the command line."""
    promise = commands.add_parser(
        "promise",
        help="lay a measurement over what a package promised",
        description="Lay a measurement over what a package promised, and say what explains the difference: a leak, "
        "another volume, another driver.",
    )
    promise.add_argument("package", metavar="PACKAGE|SPEC", help="a package folder or a spec file")
    promise.add_argument("--impedance", metavar="FILE", help="columns: Hz, ohm, and degrees if there are any")
    promise.add_argument("--response", metavar="FILE", help="columns: Hz, dB, and degrees if there are any")
    promise.add_argument(
        "--absolute",
        nargs=2,
        metavar=("VOLTS", "METRES"),
        help="the response is in dB re 20 µPa, taken at this drive and distance: its level is judged too",
    )
    promise.add_argument(
        "--tolerance",
        type=float,
        default=5.0,
        metavar="PERCENT",
        help="for peaks and dips of the impedance (default: 5)",
    )
    promise.add_argument("--from", dest="from_hz", type=float, default=15.0, metavar="HZ", help="(default: 15)")
    promise.add_argument("--to", dest="to_hz", type=float, default=500.0, metavar="HZ", help="(default: 500)")
    promise.add_argument("--out", default="out", metavar="DIR", help="where plots and numbers go (default: out)")


def run(arguments: argparse.Namespace) -> int:
    """Do what the command line asks; return the exit status."""
    return guarded("promise", lambda: _promise(arguments))


def _promise(arguments: argparse.Namespace) -> int:
    if not arguments.impedance and not arguments.response:
        raise Refused("nothing to compare: give --impedance FILE, --response FILE or both")
    if not 0.0 < arguments.tolerance <= 100.0 or not 0.0 < arguments.from_hz < arguments.to_hz:
        raise Refused("--tolerance lies between 0 and 100 %, and --from below --to")
    sweep = sweep_of(arguments.impedance) if arguments.impedance else None
    report, stem = _report(arguments)
    files: dict[str, str] = {}
    within = True
    if sweep is not None:
        within = _promise_impedance(arguments, report, sweep, files)
    if arguments.response:
        within = _promise_response(arguments, report, files) and within
    print(publish_aside(files, Path(arguments.out), f"promise-{stem}"))
    return cli.DONE if within else cli.FAILED_CHECK


def _report(arguments: argparse.Namespace) -> tuple[dict[str, Any], str]:
    """Return the report of the package or spec, and what to call the comparison."""
    from kerfwave import jobs

    path = Path(arguments.package)
    try:
        report = jobs._report(path, arguments.out)
    except (ValueError, OSError) as error:
        raise Refused(str(error)) from error
    place = path.parent if path.name == "report.json" else path
    return report, place.absolute().stem if path.is_file() and path.name != "report.json" else place.absolute().name


def _promise_impedance(
    arguments: argparse.Namespace, report: Mapping[str, Any], sweep: ImpedanceSweep, files: dict[str, str]
) -> bool:
    from kerfwave.learn import promise_words
    from kerfwave.measure.promise import compare
    from kerfwave.measure.promise_model import NoPromise

    try:
        found = compare(
            report,
            sweep,
            tolerance_percent=arguments.tolerance,
            from_hz=arguments.from_hz,
            to_hz=arguments.to_hz,
        )
    except NoPromise as error:
        raise Refused(str(error)) from error
    for line in promise_words.text_of(found):
        print(visible(line))
    files["impedance.csv"] = promise_words.csv_of(found)
    files["promise.json"] = json_of(promise_words.data_of(found))
    files.update(promise_words.charts_of(found))
    return found.within


def _promise_response(arguments: argparse.Namespace, report: Mapping[str, Any], files: dict[str, str]) -> bool:
    """Lay a measured response over the promised one; `kerfwave.measure.response` has the rules."""
    from dataclasses import replace

    from kerfwave.learn import response_words
    from kerfwave.measure.columns import read_columns, text_of
    from kerfwave.measure.errors import RecordingError
    from kerfwave.measure.response import against, from_columns, spread_in

    name: str = arguments.response
    volts, metres = (number_of(word, "--absolute") for word in arguments.absolute or ("0", "0"))
    if arguments.absolute and not (volts > 0.0 and metres > 0.0):
        raise Refused("--absolute takes volts and metres above 0")
    titles = ("frequency_hz", "level_db", "phase_deg")
    columns = read_columns(text_of(bytes_of(name), name=name), name=name, columns=titles, optional=1)
    for note in columns.notes:
        say(f"{name}: {note}")
    try:
        measured = replace(from_columns(columns), absolute=arguments.absolute is not None)
        found = against(
            report,
            measured,
            spread=spread_in(report),
            measured_volts=volts if arguments.absolute else None,
            measured_at_m=metres if arguments.absolute else None,
        )
    except RecordingError as error:
        raise Refused(f"{name}: {error}") from error
    for line in response_words.text_of(found):
        print(visible(line))
    files["response.csv"] = response_words.csv_of(found)
    files["response.svg"] = response_words.chart_of(found)
    return found.within and all(one.verdict != "missed" for one in found.judgements)
