"""The commands `coupon` and `resume`: test cuts for a machine, and the rest of a program that was stopped.

Messages go to standard error, results to standard output; nothing heavy is imported before it is needed.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwave import cli
from kerfwave.file_jobs import Refused, bytes_of, guarded, publish_aside, say, utf8_of, write_file
from kerfwave.filenames import text_of_name

if TYPE_CHECKING:
    from kerfwave import cut
    from kerfwave.model.parts import Recipe
    from kerfwave.model.spec import Machine, Spec

_LENGTHS = ("AB", "DC", "AD", "BC", "AC", "BD")


def add_parser(commands: Any) -> None:
    """Add `coupon` and `resume` to the command line."""
    coupon = commands.add_parser(
        "coupon",
        help="write test cuts for the machine and stock of a spec",
        description="Write the test cuts for the machine and the sheets of a spec, with a page on how to read them.",
    )
    coupon.add_argument("spec", metavar="SPEC", help="a spec file (YAML)")
    coupon.add_argument("--out", default="out", metavar="DIR", help="folder for the test cuts (default: out)")
    coupon.add_argument(
        "--read-square",
        nargs=6,
        type=float,
        metavar=_LENGTHS,
        help="print axis_scale and skew_deg from the six lengths read off coupon-square, in mm; write nothing",
    )
    resume = commands.add_parser(
        "resume",
        help="write the rest of a program that was stopped, from a piece on",
        description="Write the rest of a program that was stopped, from a piece on. What was cut before it is not cut "
        "again, so the sheet must lie exactly where it lay.",
    )
    resume.add_argument("source", metavar="SPEC_OR_PACKAGE", help="a package folder, or the spec it is built from")
    resume.add_argument("sheet", metavar="SHEET", help="which program, such as sheet-02 or 2, or a piece's own")
    resume.add_argument("piece", metavar="PIECE", help="a piece, or a row of the guide's table of restart points")
    resume.add_argument("--out", default="out", metavar="DIR", help="where the cache of a spec lies (default: out)")
    resume.add_argument("--to", default=".", metavar="DIR", help="folder for the program (default: this one)")


def run(arguments: argparse.Namespace) -> int:
    """Do what the command line asks; return the exit status."""
    if arguments.command == "coupon":
        return guarded("coupon", lambda: _coupon(arguments))
    return guarded("resume", lambda: _resume(arguments))


# --- coupon -----------------------------------------------------------------------------------------------------------


def _coupon(arguments: argparse.Namespace) -> int:
    from kerfwave import cut
    from kerfwave.engine import StageError
    from kerfwave.findings import render
    from kerfwave.model.kinds import kinds
    from kerfwave.spec import load
    from kerfwave.stages import recipe as stage

    loaded = load(Path(arguments.spec))
    if loaded.warnings:
        say(render(loaded.warnings))
    spec = loaded.spec
    machine = spec.machine
    try:
        stock = kinds(spec.stock)[0].stock
        recipe = stage.one(
            spec.recipes, machine.laser, machine.max_feed_mm_min, machine.air_on, stock, spec.acknowledge
        )
        coupons = cut.all_coupons(machine, stock, recipe)
    except (StageError, cut.CutError) as error:
        raise Refused(f"{arguments.spec}: {error}") from error
    if arguments.read_square:
        return _read_square(coupons[0], arguments.read_square)
    name = f"{Path(arguments.spec).stem}-coupons"
    files = _coupon_files(spec, coupons, recipe, f"out/{text_of_name(name)}")  # the same bytes wherever it is written
    print(publish_aside(files, Path(arguments.out), name))
    if not recipe.verified:
        say("the recipe is an estimate; these test cuts are what makes it a measured one")
    return cli.DONE


def _read_square(square: cut.Coupon, lengths: list[float]) -> int:
    from kerfwave import cut
    from kerfwave.numfmt import fixed

    try:
        (sx, sy), skew = cut.axes_of(*lengths, nominal_mm=cut.square_side_mm(square))
    except ValueError as error:
        raise Refused(str(error)) from error
    print(f"axis_scale: [{fixed(sx, 5)}, {fixed(sy, 5)}]")
    print(f"skew_deg: {fixed(skew, 3)}")
    return cli.DONE


def _coupon_files(spec: Spec, coupons: tuple[cut.Coupon, ...], recipe: Recipe, folder: str) -> Mapping[str, str]:
    """Return programs, drawings, the page with the reading tables and a report; every program is proved first."""
    from kerfwave import cut
    from kerfwave.model.kinds import kinds
    from kerfwave.stages.bench_view import coupon_table
    from kerfwave.stages.shop import FORMAT, shop
    from kerfwave.writers import drawings, gcode
    from kerfwave.writers.guide_model import CouponView, Table
    from kerfwave.writers.reading import render_reading
    from kerfwave.writers.report import render_report

    files: dict[str, str] = {}
    views = []
    for coupon in coupons:
        program, name = coupon.program, coupon.program.name
        machine = replace(spec.machine, axis_scale=None, skew_deg=0.0) if coupon.raw else spec.machine
        text = gcode.render(cut.corrected(program, machine), machine, recipe, coupon.depths_mm)
        broken = [c.text for c in cut.safe(text, machine, program.width_mm, program.height_mm) if c.level == "fail"]
        if broken:
            raise Refused(f"{name} does not prove: {'; '.join(broken)}")
        files[f"gcode/{name}.nc"] = text
        files[f"sheets/{name}.svg"] = drawings.coupon_svg(program, coupon.pieces, name, placements=coupon.placements)
        where = f"sheets/{name}.svg", f"gcode/{name}.nc"
        view = CouponView(name, files[where[0]], where[1], program.time_s, _WORDS[name], coupon.reading)
        views.append((view, coupon_table(coupon, recipe.kerf_mm) or Table("", (), ())))
    title = f"Test cuts for {spec.machine.name} and {spec.stock.name}"
    files["reading.html"] = render_reading(title, recipe.provenance, tuple(views), folder)
    known = shop(spec, (recipe,), kinds(spec.stock)[:1])
    files["report.json"] = render_report({"format": FORMAT, "name": title, **known})
    return files


_WORDS = {
    "coupon-square": "It tells how true the axes are: their scale, and whether they are square.",
    "coupon-focus": "It tells at which height the head is focused on the sheet.",
    "coupon-field": "It tells at which power, feed and passes small squares fall out.",
    "coupon-passes": "It tells how many passes it takes to cut through.",
    "coupon-kerf": "It tells how wide the beam cuts, and whether small holes come out.",
}


# --- resume -----------------------------------------------------------------------------------------------------------


def _resume(arguments: argparse.Namespace) -> int:
    from kerfwave import cut
    from kerfwave.writers import gcode
    from kerfwave.writers.words import duration

    source = Path(arguments.source)
    files, report = _of_package(source) if source.is_dir() else _of_spec(source, arguments.out)
    asked = arguments.sheet if arguments.sheet.startswith("sheet-") else f"sheet-{arguments.sheet.zfill(2)}"
    name, points, at = _point(report, asked, arguments.piece)
    text = files(f"gcode/{name}.nc")
    machine = _machine(report)
    sheet = next(s for s in report["nest"]["sheets"] if s["number"] == int(name.split("-")[1]))
    said = (
        f"The rest of {name}, from row {at['number']} of its table on: {at['piece']} {at['what']}. Rows before it are "
        f"taken as cut. {duration(at['done_s'])} of the time below are done."
    )
    rest = gcode.remark(said, machine) + cut.rest_of(text, points[0]["line"], at["line"])
    proof = cut.prove_rest(text, rest, at["line"], machine, sheet["width_mm"], sheet["height_mm"])
    broken = [c.text for c in proof if c.level == "fail"]
    if broken:
        raise Refused(f"{name}: the rest does not prove: {'; '.join(broken)}")
    target = Path(arguments.to) / f"{source.stem}-{name}-from-{at['number']:03d}.nc"
    write_file(target, rest)
    left_out = len([p for p in points if p["number"] < at["number"]])
    say(
        f"from {at['piece']}, {at['what']}: {left_out} of {len(points)} contours count as cut and are not cut "
        "again. The sheet must lie exactly where it lay"
    )
    print(target)
    return cli.DONE


def _of_package(folder: Path) -> tuple[Any, dict[str, Any]]:
    """Return a reader of the package's files, each held against the manifest, and its report."""
    import hashlib
    import json

    def text_of(name: str) -> str:
        data = bytes_of(str(folder / name))
        entry = manifest.get(name)
        if entry is None or hashlib.sha256(data).hexdigest() != entry["sha256"]:
            raise Refused(f"{folder / name} is not the file that was proved: build the package again")
        return utf8_of(data, name)

    try:
        manifest = json.loads(utf8_of(bytes_of(str(folder / "manifest.json")), "manifest.json"))["files"]
        report = json.loads(text_of("report.json"))
    except (ValueError, KeyError, TypeError) as error:
        raise Refused(f"{folder} is no package of ours: {error}") from error
    return text_of, report


def _of_spec(spec: Path, out: str) -> tuple[Any, dict[str, Any]]:
    """Return a reader of the files that the spec builds to, from the cache where it can, and their report."""
    import json

    from kerfwave import jobs
    from kerfwave.engine import Store, Walker

    store = Store(Path(out) / jobs.CACHE, say)
    job = jobs._load(spec)
    results = jobs._stages(job, store, Walker(store.get_record("imports")), ("package",), explain=False)
    files = dict(results["package"].files)
    return files.__getitem__, json.loads(files["report.json"])


def _point(report: Mapping[str, Any], name: str, wanted: str) -> tuple[str, list[dict[str, Any]], dict[str, Any]]:
    """Return a program, all its restart points and the one that is asked for: a row's number, or a piece's first cut.

    Of a sheet whose pieces have programs of their own it is the piece's.
    """
    tables = {entry["program"]: entry["points"] for entry in report.get("cut", {}).get("restarts", ())}
    of_sheet = [own for own in tables if own.startswith(f"{name}-")]
    if name not in tables and of_sheet:
        found = [own for own in of_sheet if any(point["piece"] == wanted for point in tables[own])]
        if not found:
            raise Refused(f"each piece of {name} has its own program; name a piece, or one of {', '.join(of_sheet)}")
        name = found[0]
    if name not in tables:
        raise Refused(f"there is no program {name}; there are {', '.join(tables) or 'none with restart points'}")
    points = tables[name]
    row = int(wanted) if wanted.isascii() and wanted.isdigit() else None
    for point in points:
        if point["number"] == row or (row is None and point["piece"] == wanted and point["what"] != "marks"):
            return name, points, point
    if row is not None:
        raise Refused(f"{name} has the rows 1 to {len(points)}, not {row}")
    raise Refused(f"{wanted} is not cut on {name}; its pieces: {', '.join(dict.fromkeys(p['piece'] for p in points))}")


def _machine(report: Mapping[str, Any]) -> Machine:
    """Return the machine that a package was made for."""
    from kerfwave.engine.codec import decode
    from kerfwave.model.spec import Machine

    try:
        return decode(Machine, report["machine"]["program"])
    except (KeyError, TypeError, ValueError) as error:
        raise Refused(f"the report does not say what machine it is for: build the package again ({error})") from error
