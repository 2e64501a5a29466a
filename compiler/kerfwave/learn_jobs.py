"""The command `learn`: what was measured, written back into driver and recipe files and records beside a spec."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwave import cli
from kerfwave.file_jobs import Refused, bytes_of, guarded, number_of, say, utf8_of, whole, write_file
from kerfwave.filenames import text_of_name
from kerfwave.findings import visible

if TYPE_CHECKING:
    from kerfwave.learn.edit import Value
    from kerfwave.learn.records import Record

# What a recipe has to have, and the option that says it.
_RECIPE_OPTIONS = {
    "optical_power_w": "--optical-power",
    "wavelength_nm": "--wavelength",
    "material": "--material",
    "glue": "--glue",
    "thickness_mm": "--thickness",
    "air_assist": "--air-assist",
    "power_percent": "--power",
    "feed_mm_min": "--feed",
    "passes": "--passes",
    "kerf_mm": "--kerf or --gap",
}


def add_parser(commands: Any) -> None:
    """Add `learn driver`, `learn recipe` and `learn measured` to the command line."""
    learn = commands.add_parser(
        "learn",
        help="write back what was measured: driver, recipe, records beside a spec",
        description="Write back what was measured, with its date. The next build uses it; comments in the files stay.",
    )
    what = learn.add_subparsers(dest="what", required=True, metavar="WHAT")
    _add_learn_driver(what)
    _add_learn_recipe(what)
    _add_learn_measured(what)


def _add_learn_driver(what: Any) -> None:
    driver = what.add_parser(
        "driver",
        help="change numbers in a driver file",
        description="Change numbers in a driver file, and keep the old ones in its history.",
    )
    driver.add_argument("file", metavar="FILE.yaml", help="the driver file, such as specs/drivers/mine.yaml")
    driver.add_argument("values", nargs="+", metavar="KEY=NUMBER", help="such as fs_hz=104.2")
    _add_dated(driver)
    driver.add_argument("--why", type=text_of_name, default="measured", help="from what; stays in the file's history")


def _add_learn_recipe(what: Any) -> None:
    recipe = what.add_parser(
        "recipe",
        help="add what a coupon taught to a recipe file",
        description="Add what a test cut taught to a recipe file. What you do not say comes from the package "
        "(--package) or from another entry (--like).",
    )
    recipe.add_argument("file", metavar="FILE.yaml", help="such as specs/recipes/mine.yaml; made if it is not there")
    recipe.add_argument("--name", type=text_of_name, required=True, help="what the recipe is called")
    recipe.add_argument("--coupon", required=True, help="which test cut it was found with, such as coupon-kerf")
    _add_dated(recipe)
    recipe.add_argument("--like", metavar="ENTRY", help="an entry of the file that gives what is not given here")
    recipe.add_argument(
        "--package",
        metavar="DIR",
        help="package or folder of test cuts: gives what is not given here",
    )
    recipe.add_argument("--passes", type=int, metavar="N", help="how often the line is gone over")
    recipe.add_argument("--kerf", type=float, nargs="+", metavar="MM", help="readings; their mean is written")
    recipe.add_argument("--gap", type=float, metavar="MM", help="of coupon-kerf, its strips pushed together")
    recipe.add_argument("--strips", type=int, default=10, metavar="N", help="of that coupon (default: 10)")
    recipe.add_argument("--thickness", type=float, nargs="+", metavar="MM", help="readings; their mean is written")
    recipe.add_argument("--feed", type=float, metavar="MM_MIN", help="speed with the beam on, mm/min")
    recipe.add_argument("--power", type=float, metavar="PERCENT", help="of full drive")
    recipe.add_argument("--optical-power", type=float, metavar="W", help="of the laser, as light")
    recipe.add_argument("--wavelength", type=float, metavar="NM", help="of the laser")
    recipe.add_argument("--material", metavar="KEY", help="as in the stock file, such as birch-plywood")
    recipe.add_argument(
        "--glue", choices=("uf", "muf", "pf", "none", "unknown"), help="of the board, as in the stock file"
    )
    recipe.add_argument("--air-assist", choices=("true", "false"), help="whether air was blown into the cut")
    recipe.add_argument("--by", type=text_of_name, default="", help="who found it")
    recipe.add_argument("--note", type=text_of_name, default="", help="a line of your own")


def _add_learn_measured(what: Any) -> None:
    measured = what.add_parser(
        "measured",
        help="record what was measured on a finished speaker, beside its spec",
        description="Record what was measured on a finished speaker in a file beside its spec. The next build "
        "reads it.",
    )
    measured.add_argument("spec", metavar="SPEC", help="the spec; records go beside it, as SPEC's name.measured.yaml")
    measured.add_argument(
        "--set",
        dest="values",
        nargs="+",
        action="extend",
        default=[],
        metavar="KEY=NUMBER[+-N]",
        help="a value and its standard uncertainty, such as tuning_hz=61.8+-0.6",
    )
    measured.add_argument(
        "--promise", metavar="FILE.json", help="promise.json of a comparison: tuning and as-built values"
    )
    _add_dated(measured)
    measured.add_argument("--source", type=text_of_name, default="", help="from what, such as the name of a sweep")
    measured.add_argument("--by", type=text_of_name, default="", help="who measured")
    measured.add_argument("--note", type=text_of_name, default="", help="a line of your own")


def _add_dated(command: argparse.ArgumentParser) -> None:
    command.add_argument("--date", required=True, metavar="2026-05-02", help="when it was measured")
    command.add_argument("--replace", action="store_true", help="replace what is there; it stays in the history")


def run(arguments: argparse.Namespace) -> int:
    """Do what the command line asks; return the exit status."""
    jobs = {"driver": _learn_driver, "recipe": _learn_recipe, "measured": _learn_measured}
    return guarded("learn", lambda: jobs[arguments.what](arguments))


def _learn_driver(arguments: argparse.Namespace) -> int:
    from kerfwave.learn.driver_file import contradictions_of
    from kerfwave.learn.edit import set_values

    changes = {key: whole(value) for key, (value, _) in _assigned(arguments.values).items()}
    old = utf8_of(bytes_of(arguments.file), arguments.file)
    text = set_values(
        old, arguments.file, "driver", changes, date=arguments.date, why=arguments.why, replace=arguments.replace
    )
    for doubt in contradictions_of(text, arguments.file):
        say(f"{arguments.file}: {doubt}")
    return _finish(Path(arguments.file), old, text)


def _learn_recipe(arguments: argparse.Namespace) -> int:
    from kerfwave.learn.edit import add_recipe

    if arguments.kerf is not None and arguments.gap is not None:
        raise Refused("--kerf and --gap say the same thing; give one of them")
    target = Path(arguments.file)
    if target.suffix not in (".yaml", ".yml"):
        raise Refused(f"{target}: a recipe file's name ends in .yaml")
    old = utf8_of(bytes_of(arguments.file), arguments.file) if target.exists() else None
    entry = _recipe_entry(arguments)
    missing = [option for key, option in _RECIPE_OPTIONS.items() if key not in entry]
    if missing and arguments.like is None:
        raise Refused(f"still to say: {', '.join(missing)}; or name what knows them, with --package or --like")
    text = add_recipe(old, arguments.file, entry, like=arguments.like, replace=arguments.replace)
    return _finish(target, old, text)


def _recipe_entry(arguments: argparse.Namespace) -> dict[str, Value]:
    said: dict[str, Any] = {
        "optical_power_w": arguments.optical_power,
        "wavelength_nm": arguments.wavelength,
        "material": arguments.material,
        "glue": arguments.glue,
        "thickness_mm": _mean(arguments.thickness),
        "air_assist": None if arguments.air_assist is None else arguments.air_assist == "true",
        "power_percent": arguments.power,
        "feed_mm_min": arguments.feed,
        "passes": arguments.passes,
        "kerf_mm": _mean(arguments.kerf),
    }
    notes = [arguments.note] if arguments.note else []
    if arguments.gap is not None:  # as the coupon's own reading says: ten strips have eleven cuts across the row
        said["kerf_mm"] = round(arguments.gap / (arguments.strips + 1), 4)
        notes.append(f"kerf from a gap of {arguments.gap:g} mm over {arguments.strips} strips")
    for name, readings in (("kerf", arguments.kerf), ("thickness", arguments.thickness)):
        if readings and len(readings) > 1:
            notes.append(f"{name}: {len(readings)} readings, {min(readings):g} to {max(readings):g} mm")
    provenance: dict[str, Value] = {"measured": True, "date": arguments.date, "coupon": arguments.coupon}
    provenance |= {key: text for key, text in (("by", arguments.by), ("note", "; ".join(notes))) if text}
    values = {key: whole(v) if isinstance(v, float) else v for key, v in said.items() if v is not None}
    from_package = _of_package(arguments.package, arguments.coupon) if arguments.package else {}
    return {"name": arguments.name, **from_package, **values, "provenance": provenance}


def _of_package(name: str, coupon: str) -> dict[str, Value]:
    """Return what a package, or a folder of test cuts, was cut with; of several thicknesses, those of the test cut."""
    from kerfwave.compare import load_report

    try:
        report = load_report(Path(name))
        recipe, machine, stock = report["recipe"], report["machine"], report["stock"]
        measured = stock["measured_mm"]
        for kind, settings in zip(stock.get("kinds", ()), report.get("recipes", ()), strict=False):
            if coupon in kind["coupons"]:
                recipe, measured = settings, kind["measured_mm"]
        return {
            "optical_power_w": machine["optical_power_w"],
            "wavelength_nm": machine["wavelength_nm"],
            "material": stock["material"],
            **({"glue": stock["glue"]} if "glue" in stock else {}),
            "thickness_mm": round(measured, 4),
            "air_assist": recipe["air_assist"],
            "power_percent": recipe["power_percent"],
            "feed_mm_min": recipe["feed_mm_min"],
            "passes": recipe["passes"],
            "kerf_mm": recipe["kerf_mm"],
        }
    except (ValueError, KeyError, TypeError) as error:
        raise Refused(f"{name}: {error}") from error


def _learn_measured(arguments: argparse.Namespace) -> int:
    from kerfwave.learn.records import SUFFIX, learned

    spec = Path(arguments.spec)
    if not spec.is_file() or spec.suffix not in (".yaml", ".yml"):
        raise Refused(f"{spec}: no spec of that name")
    target = spec.with_name(spec.stem + SUFFIX)
    old = utf8_of(bytes_of(str(target)), str(target)) if target.exists() else None
    text = learned(old, _new_records(arguments), shown=str(target), replace=arguments.replace)
    return _finish(target, old, text)


def _new_records(arguments: argparse.Namespace) -> list[Record]:
    from kerfwave.learn.records import Record, records_of_promise

    values = _assigned(arguments.values)
    source = arguments.source
    if arguments.promise:
        import json

        try:
            promised = records_of_promise(json.loads(utf8_of(bytes_of(arguments.promise), arguments.promise)))
        except ValueError as error:
            raise Refused(f"{arguments.promise}: {error}") from error
        values = {**promised, **values}
        source = source or "/".join(Path(arguments.promise).absolute().parts[-2:])
    if not values:
        raise Refused("nothing to record: give --set KEY=NUMBER, or --promise FILE.json")
    return [
        Record(key, value, arguments.date, standard, source, arguments.by, arguments.note)
        for key, (value, standard) in values.items()
    ]


def _assigned(words: Sequence[str]) -> dict[str, tuple[float, float | None]]:
    """Return key, value and standard uncertainty of words such as "tuning_hz=61.8+-0.6"."""
    found: dict[str, tuple[float, float | None]] = {}
    for word in words:
        key, sign, rest = word.partition("=")
        if not sign or not key:
            raise Refused(f"'{visible(word)}' is not of the form KEY=NUMBER")
        value, plus, standard = rest.partition("+-")
        if key in found:
            raise Refused(f"{visible(key)} is given twice")
        found[key] = number_of(value, key), number_of(standard, key) if plus else None
    return found


def _mean(readings: Sequence[float] | None) -> float | None:
    if not readings:
        return None
    if not all(math.isfinite(one) and one > 0.0 for one in readings):
        raise Refused("a reading must be above 0 mm")
    return round(math.fsum(readings) / len(readings), 4)


def _finish(path: Path, old: str | None, text: str) -> int:
    if old == text:
        say(f"{path}: says so already")
    else:
        write_file(path, text)
        print(path)
    return cli.DONE
