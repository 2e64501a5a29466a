"""The command `fit`: a driver's parameters from impedance sweeps, as words, drawings and a driver file.

All texts are made and checked before the first file is touched; nothing heavy is imported before it is needed.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwave import cli
from kerfwave.file_jobs import (
    Refused,
    bytes_of,
    guarded,
    json_of,
    number_of,
    publish_aside,
    say,
    sweep_of,
    utf8_of,
    whole,
    write_file,
)
from kerfwave.filenames import text_of_name
from kerfwave.findings import visible

if TYPE_CHECKING:
    from kerfwave.learn.edit import Value
    from kerfwave.measure.fit import DriverFit
    from kerfwave.measure.impedance import ImpedanceSweep

FACTS = (  # what no sweep tells, by the keys of a driver file
    *("frame_mm", "cutout_mm", "bolt_circle_mm", "depth_mm", "xmax_mm", "power_w"),
    *("flange_mm", "gasket_mm", "screw_count", "screw_hole_mm", "magnet_mm", "displacement_cm3", "price"),
    *("vas_l", "cms_mm_n", "mms_g"),
)
NEEDED = FACTS[:6]


def add_parser(commands: Any) -> None:
    """Add `fit` to the command line."""
    fit = commands.add_parser(
        "fit",
        help="fit a driver's parameters to impedance sweeps",
        description="Fit a driver's parameters to impedance sweeps, with uncertainties: one in free air, and, for Vas "
        "and the moving mass, one with mass added or in a box of known volume.",
    )
    fit.add_argument("free_air", metavar="FREE_AIR.txt", help="columns: Hz, ohm, and degrees if there are any")
    fit.add_argument("--added-mass", nargs=2, metavar=("GRAMS", "FILE"), help="a sweep with so much on the cone")
    fit.add_argument("--known-box", nargs=2, metavar=("LITRES", "FILE"), help="a sweep in a closed box of so much air")
    fit.add_argument("--re", type=float, metavar="OHM", help="direct-current resistance by a meter")
    fit.add_argument("--sd", type=float, metavar="CM2", help="effective cone area")
    fit.add_argument(
        "--uncertainty",
        type=float,
        default=1.0,
        metavar="PERCENT",
        help="standard uncertainty of mass, litres, Re and Sd (default: 1)",
    )
    fit.add_argument("--from", dest="from_hz", type=float, default=0.0, metavar="HZ", help="leave out what is below")
    fit.add_argument("--to", dest="to_hz", type=float, default=math.inf, metavar="HZ", help="leave out what is above")
    fit.add_argument(
        "-o", "--output", metavar="FILE.yaml", help="the driver file to write, such as specs/drivers/x.yaml"
    )
    fit.add_argument("--name", type=text_of_name, help="what the driver is called there (default: the file's name)")
    fit.add_argument("--like", metavar="FILE.yaml", help="a driver file that gives sizes and ratings not given here")
    fit.add_argument("--date", default="", metavar="2026-05-02", help="when it was measured")
    fit.add_argument("--replace", action="store_true", help="change the values in a driver file that is there")
    fit.add_argument("--out", default="out", metavar="DIR", help="where plots and numbers go (default: out)")
    for key in FACTS:
        fit.add_argument(f"--{key.replace('_', '-')}", type=float, metavar="N", help=f"{key} of the driver file")


def run(arguments: argparse.Namespace) -> int:
    """Do what the command line asks; return the exit status."""
    return guarded("fit", lambda: _fit(arguments))


def _fit(arguments: argparse.Namespace) -> int:
    from kerfwave.acoustics.air import air
    from kerfwave.learn import fit_words
    from kerfwave.learn.edit import check_date
    from kerfwave.measure.fit import Given, NotADriver, fit

    if arguments.date:
        check_date(arguments.date)
    for option in ("re", "sd", "uncertainty"):
        value = getattr(arguments, option)
        if value is not None and not (math.isfinite(value) and 0.0 < value < 1e5):
            raise Refused(f"--{option} is {value:g}; it must be above 0")
    free_air = sweep_of(arguments.free_air, arguments.from_hz, arguments.to_hz)
    names = [arguments.free_air]
    mass, with_mass = _loaded(arguments, "added_mass", names)
    box, in_box = _loaded(arguments, "known_box", names)
    area = _area(arguments)
    given = Given(
        re_ohm=arguments.re,
        sd_m2=None if area is None else area * 1e-4,
        added_mass_kg=None if mass is None else mass * 1e-3,
        box_m3=None if box is None else box * 1e-3,
        uncertainty=arguments.uncertainty / 100.0,
    )
    try:
        found = fit(free_air, given, air(), with_mass=with_mass, in_box=in_box)
    except NotADriver as error:
        raise Refused(str(error)) from error
    for line in fit_words.text_of(found):
        print(visible(line))
    stem = Path(arguments.output or arguments.free_air).stem
    files = {"fit.json": json_of(fit_words.data_of(found)), **fit_words.csv_of(found), **fit_words.charts_of(found)}
    text = _driver_text(arguments, found, names) if arguments.output else None
    print(publish_aside(files, Path(arguments.out), f"fit-{stem}"))
    if text is not None:
        write_file(Path(arguments.output), text)
        print(arguments.output)
    return cli.DONE


def _area(arguments: argparse.Namespace) -> float | None:
    """Return the cone area in cm2: as given, or as the driver file says that is changed or started from."""
    if arguments.sd is not None:
        return float(arguments.sd)
    there = arguments.output if arguments.output and arguments.replace and Path(arguments.output).exists() else None
    if there or arguments.like:
        found = _facts_of(there or arguments.like).get("sd_cm2")
        return float(found) if isinstance(found, int | float) else None
    return None


def _loaded(arguments: argparse.Namespace, option: str, names: list[str]) -> tuple[float | None, ImpedanceSweep | None]:
    """Return the load and the sweep of --added-mass or --known-box."""
    pair = getattr(arguments, option)
    if pair is None:
        return None, None
    flag = f"--{option.replace('_', '-')}"
    load = number_of(pair[0], flag)
    if not load > 0.0:
        raise Refused(f"{flag} begins with {pair[0]}, which must be above 0")
    names.append(pair[1])
    return load, sweep_of(pair[1], arguments.from_hz, arguments.to_hz)


def _driver_text(arguments: argparse.Namespace, found: DriverFit, names: list[str]) -> str:
    """Return the text of the driver file: a new one, or the one that is there with its values changed."""
    from kerfwave.learn.driver_file import changed_driver, driver_file

    target = Path(arguments.output)
    if target.suffix not in (".yaml", ".yml"):
        raise Refused(f"{target}: a driver file's name ends in .yaml")
    facts: dict[str, Value] = {key: whole(value) for key in FACTS if (value := getattr(arguments, key)) is not None}
    sources = ", ".join(Path(name).name for name in names)
    if arguments.sd is not None:
        facts["sd_cm2"] = whole(arguments.sd)
    elif found.sd_m2 is not None:
        facts["sd_cm2"] = round(1e4 * found.sd_m2.value, 3)
    old = bytes_of(arguments.output) if target.exists() else None
    if old is not None:
        if not arguments.replace:
            raise Refused(f"{target} is there already; name another file, or --replace to change its values")
        if not arguments.date:
            raise Refused("--replace needs --date, for the history in the file")
        text, doubts = changed_driver(
            utf8_of(old, arguments.output), arguments.output, found, facts, date=arguments.date, sources=sources
        )
        for doubt in doubts:
            say(f"{target}: {doubt}")
        return text
    if arguments.like:
        facts = {**_facts_of(arguments.like), **facts}
    missing = [key for key in ("sd_cm2", *NEEDED) if key not in facts]
    if missing:
        flags = ", ".join("--sd" if key == "sd_cm2" else f"--{key.replace('_', '-')}" for key in missing)
        raise Refused(f"a driver file also needs {flags} (or --like a driver file that has them)")
    name = arguments.name or text_of_name(target.stem)
    return driver_file(found, facts, name=name, date=arguments.date, sources=sources, shown=arguments.output)


def _facts_of(name: str) -> dict[str, Value]:
    """Return sizes and ratings of another driver file; of the suspension nothing, for that is another driver's."""
    from kerfwave.learn.edit import checked

    data = checked(utf8_of(bytes_of(name), name), name, "driver").data
    wanted = [key for key in FACTS if key not in ("vas_l", "cms_mm_n", "mms_g", "price")]
    return {key: data[key] for key in ("sd_cm2", *wanted) if key in data}
