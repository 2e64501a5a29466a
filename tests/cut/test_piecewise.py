"""One program a piece: together they cut what the sheet's own program cuts, and none loose before its turn."""

import json
import shutil
from dataclasses import replace

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from conftest import DEMO
from cut_samples import MACHINE, RECIPE, demo, layout, lying, piece, rectangle
from kerfwave import cut
from kerfwave.cli import main
from kerfwave.cut import piece_routes, planned, shared_out, sheet_program, verify
from kerfwave.cut.piecewise import file_word
from kerfwave.cut.placing import place
from kerfwave.writers.gcode import render
from rs274 import interpret


def piece_jobs(nest, pieces, machine=MACHINE):
    plan = planned(1, nest, pieces, RECIPE.kerf_mm, machine, bridged=cut.bridges_wanted(None, machine))
    return [(cut.job(plan, route, RECIPE, machine), share) for route, share in piece_routes(plan)]


def fails(text, nest, pieces, name, machine=MACHINE):
    mine = tuple(p for p in nest.placements if p.piece == name)
    others = [p for p in nest.placements if p.piece != name]
    sheet = nest.sheets[0]
    checks = verify(text, pieces, mine, RECIPE, machine, sheet.width_mm, sheet.height_mm, name="x", others=others)
    return {check.id for check in checks if check.level != "ok"}


@settings(max_examples=10, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(st.integers(0, 2**32 - 1), st.booleans())
def test_every_piece_is_cut_by_its_own_file_and_in_its_turn(seed, arcs):
    nest, pieces = layout(seed)
    machine = replace(MACHINE, arcs=arcs)
    jobs = piece_jobs(nest, pieces, machine)
    assert sorted(share.piece for _, share in jobs) == sorted(p.id for p in pieces)
    assert [share.number for _, share in jobs] == list(range(1, len(pieces) + 1))
    assert [job.program.name for job, _ in jobs] == sorted(job.program.name for job, _ in jobs)
    for job, share in jobs:
        assert {contour.piece for contour in job.program.contours} == {share.piece}
        text = render(job.program, machine, RECIPE)
        assert fails(text, nest, pieces, share.piece, machine) == set()
        run = interpret(text)
        assert run.ended and not run.lit and all(stroke.power == 0 for stroke in run.rapids())
    whole = sheet_program(1, nest, pieces, RECIPE, machine)
    assert sum(len(job.program.contours) for job, _ in jobs) == len(whole.contours)
    cut_mm = sum(job.program.cut_mm for job, _ in jobs)
    assert cut_mm == pytest.approx(whole.cut_mm, rel=0.02)  # leads differ a little: starts are chosen anew

    turn = {share.piece: share.number for _, share in jobs}
    shapes = {p.piece: place(q, p) for p in nest.placements for q in pieces if q.id == p.piece}
    for name, shape in shapes.items():
        for other, around in shapes.items():
            if any(Polygon(hole).contains(shape) for hole in around.interiors):
                assert turn[name] < turn[other]
                assert name in next(share.after for _, share in jobs if share.piece == other)
    files = [(job.program.name, share.piece) for job, share in jobs]
    assert {c.level for c in shared_out(files, pieces, nest.placements, name="sheet-01")} == {"ok"}


def test_the_proof_sees_what_is_left_out_twice_there_or_out_of_turn():
    nest, pieces = demo()
    files = [(job.program.name, share.piece) for job, share in piece_jobs(nest, pieces, MACHINE)]

    def broken(changed):
        return {c.id: c.text for c in shared_out(changed, pieces, nest.placements, name="s") if c.level == "fail"}

    assert broken(files) == {}
    assert broken(files[1:]) == {"s-once": f"{files[0][1]} is cut by 0 files"}
    assert broken([*files, ("sheet-01-99", "core")]) == {"s-once": "core is cut by 2 files"}
    assert "X does not lie on the sheet" in broken([*files, ("sheet-01-99", "X")])["s-once"]
    late = [(name if piece != "core" else "sheet-01-99-core", piece) for name, piece in files]
    said = broken(late)
    assert list(said) == ["s-order"]
    assert "driver-ring is cut before core, which lies in its window" in said["s-order"]


def test_a_file_that_touches_another_piece_does_not_prove():
    pieces = (piece("a", rectangle(20, 20, 60, 60)), piece("b", rectangle(90, 20, 60, 60)))
    nest = lying(*pieces)
    (first, share), (second, _) = piece_jobs(nest, pieces, MACHINE)
    both = replace(first.program, contours=(*first.program.contours, *second.program.contours))
    assert fails(render(both, MACHINE, RECIPE), nest, pieces, share.piece) == {"x-kerf"}
    assert fails(render(second.program, MACHINE, RECIPE), nest, pieces, share.piece) >= {"x-passes", "x-kerf"}
    # A neighbour that is not cut here is still wood that no beam may enter.
    moved = replace(nest, placements=tuple(replace(p, x_mm=-9.95 * (p.piece == "b")) for p in nest.placements))
    only = [p for p in moved.placements if p.piece == "a"]
    others = [p for p in moved.placements if p.piece == "b"]
    job = next(job for job, share in piece_jobs(nest, pieces, MACHINE) if share.piece == "a")
    text = render(job.program, MACHINE, RECIPE)
    near = verify(text, pieces, tuple(only), RECIPE, MACHINE, 400.0, 400.0, name="x", others=others)
    alone = verify(text, pieces, tuple(only), RECIPE, MACHINE, 400.0, 400.0, name="x")
    assert {c.id for c in alone if c.level == "fail"} == set()
    assert {c.id for c in near if c.level == "fail"} == {"x-wood"}


def test_names_of_files_are_words():
    assert [file_word(x) for x in ("L05b", "driver-ring", "../..", "a b/ü;(", "x" * 99)] == [
        "L05b",
        "driver-ring",
        "piece",
        "a-b",
        "x" * 40,
    ]


@pytest.fixture(scope="module")
def package(demo_package, tmp_path_factory):
    """Return the first demo's package with one program a piece; what was known of the demo is not made again."""
    shelf = tmp_path_factory.mktemp("shelf") / "specs"
    shutil.copytree(DEMO.parent, shelf)
    spec = shelf / "by-piece.yaml"
    spec.write_text(DEMO.read_text("utf-8").replace("\nname:", "\nprograms: piece\nname:"), "utf-8")
    assert main(["build", str(spec), "--out", str(demo_package.parent)]) == 0
    return demo_package.parent / "by-piece"


def test_a_package_has_a_proved_program_for_each_piece(package):
    report = json.loads((package / "report.json").read_text("utf-8"))
    programs = {p["name"]: p for p in report["cut"]["programs"] if "piece" in p}
    assert sorted(p["piece"] for p in programs.values()) == sorted(p["id"] for p in report["pieces"])
    on_disk = {p.stem for p in (package / "gcode").glob("sheet-*.nc")}
    sheets = {f"sheet-{s['number']:02d}" for s in report["nest"]["sheets"]}
    assert on_disk == set(programs) | {f"{n}-outline" for n in (*programs, *sheets)}
    levels = {c["id"]: c["level"] for c in report["checks"]}
    assert levels["program-once"] == levels["program-order"] == levels["program-wood"] == "ok"
    guide = (package / "guide.html").read_text("utf-8")
    for name, program in programs.items():
        assert guide.count(f"gcode/{name}.nc") == 1
        head = " ".join((package / "gcode" / f"{name}.nc").read_text("ascii").split("M5")[0].replace("(", "").split())
        assert f"cuts {program['piece']} alone" in head.replace(")", "")
    inner = next(p for p in programs.values() if p["after"])
    before = [q for q in programs.values() if q["sheet"] == inner["sheet"] and q["piece"] in inner["after"]]
    assert len(before) == len(inner["after"]) and all(q["name"] < inner["name"] for q in before)


def test_a_stopped_piece_is_taken_up_again(package, tmp_path, capsys):
    to = ["--to", str(tmp_path)]
    report = json.loads((package / "report.json").read_text("utf-8"))
    piece = next(p["piece"] for p in report["cut"]["programs"] if p["name"].startswith("sheet-01-") and p["after"])
    assert main(["resume", str(package), "1", piece, *to]) == 0
    (written,) = tmp_path.iterdir()
    assert f"-{piece}-from-" in written.name and interpret(written.read_text("ascii")).ended
    name = written.name.removeprefix("by-piece-").split("-from-")[0]
    assert main(["resume", str(package), name, "3", *to]) == 0
    assert main(["resume", str(package), "1", "3", *to]) == 2
    assert "each piece of sheet-01 has its own program" in capsys.readouterr().err
