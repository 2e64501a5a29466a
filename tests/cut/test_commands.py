"""`kerfwave coupon` and `kerfwave resume`, as a person meets them."""

import hashlib
import json
import re

import pytest

from conftest import DEMO
from kerfwave import cut
from kerfwave.cli import main
from kerfwave.spec import load
from rs274 import interpret


def test_coupon_writes_programs_drawings_and_a_page(tmp_path, capsys):
    assert main(["coupon", str(DEMO), "--out", str(tmp_path)]) == 0
    folder = tmp_path / "listening-post-coupons"
    assert capsys.readouterr().out.strip() == str(folder)
    names = sorted(p.stem for p in (folder / "gcode").glob("*.nc"))
    assert names == ["coupon-field", "coupon-kerf", "coupon-passes", "coupon-square"]
    assert names == sorted(p.stem for p in (folder / "sheets").glob("*.svg"))
    page = (folder / "reading.html").read_text("utf-8")
    assert all(f'<h2 id="{name}"' in page or name in page for name in names) and "eyewear" in page
    assert "<script" not in page and not re.search(r"https?://(?!www\.w3\.org)", page)
    for name in names:
        assert interpret((folder / "gcode" / f"{name}.nc").read_text("ascii")).ended
    first = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    assert main(["coupon", str(DEMO), "--out", str(tmp_path)]) == 0
    assert first == {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_what_is_read_off_the_test_cuts_makes_builds_verified(tmp_path, shelf_copy, capsys):
    spec = shelf_copy / "listening-post.yaml"
    machine = shelf_copy / "machines" / "open-frame-5w5.yaml"
    machine.write_text(machine.read_text("utf-8").replace("optical_power_w: 5.5", "optical_power_w: 7.5"), "utf-8")
    assert not recipe_of(spec).verified
    assert main(["coupon", str(spec), "--out", str(tmp_path)]) == 0
    folder = tmp_path / "listening-post-coupons"
    page = (folder / "reading.html").read_text("utf-8")
    assert "--package out/listening-post-coupons --coupon coupon-kerf" in page
    file = shelf_copy / "recipes" / "mine.yaml"
    read = ["--power", "95", "--feed", "280", "--passes", "6", "--gap", "2.31"]
    known = ["--name", "mine", "--package", str(folder), "--coupon", "coupon-kerf", "--date", "2026-05-02"]
    assert main(["learn", "recipe", str(file), *known, *read]) == 0
    recipe = recipe_of(spec)
    assert recipe.verified
    assert (recipe.power_percent, recipe.feed_mm_min, recipe.passes, recipe.kerf_mm) == (95, 280, 6, 0.21)


def recipe_of(spec):
    found = load(spec).spec
    machine = found.machine
    air = machine.air_on is not None
    return cut.look_up(
        found.recipes, machine.laser, found.stock, max_feed_mm_min=machine.max_feed_mm_min, air_assist=air
    )


def test_coupon_reads_the_square(tmp_path, capsys):
    words = ["300.6", "300.6", "299.7", "299.7", "425.2", "423.8"]
    assert main(["coupon", str(DEMO), "--out", str(tmp_path), "--read-square", *words]) == 0
    assert capsys.readouterr().out == "axis_scale: [1.002, 0.999]\nskew_deg: 0.189\n"
    assert list(tmp_path.iterdir()) == []
    assert main(["coupon", str(DEMO), "--out", str(tmp_path), "--read-square", *words[:5], "300"]) == 2
    assert "measure again" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("material", "said"),
    [
        ("pvc", "PVC must not be laser-cut"),
        ("moon-board", "the material 'moon-board' is not in the table of the spec reference"),
        ("mdf", "is doubtful under a laser"),
    ],
)
@pytest.mark.parametrize("command", ["coupon", "check", "build"])
def test_all_commands_refuse_the_same_sheets(tmp_path, demo_package, shelf_copy, capsys, command, material, said):
    stock = shelf_copy / "stock" / "birch-6.yaml"
    stock.write_text(stock.read_text("utf-8").replace("birch-plywood", material), "utf-8")
    # What is known of the demo's body is not made again.
    out = tmp_path / "o" if command == "coupon" else demo_package.parent
    spec = shelf_copy / "refused.yaml"
    spec.write_text((shelf_copy / "listening-post.yaml").read_text("utf-8"), "utf-8")
    assert main([command, str(spec), "--out", str(out)]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "o").exists() and not (out / "refused").exists()


def test_a_doubtful_sheet_is_cut_once_it_is_acknowledged(tmp_path, demo_package, shelf_copy, capsys):
    stock = shelf_copy / "stock" / "birch-6.yaml"
    stock.write_text(stock.read_text("utf-8").replace("birch-plywood", "mdf"), "utf-8")
    spec = shelf_copy / "doubtful.yaml"
    text = (shelf_copy / "listening-post.yaml").read_text("utf-8")
    spec.write_text(text.replace("\nname:", "\nacknowledge: [doubtful-material]\nname:"), "utf-8")
    assert main(["coupon", str(spec), "--out", str(tmp_path)]) == 0
    assert main(["build", str(spec), "--out", str(demo_package.parent)]) == 0
    capsys.readouterr()
    package = demo_package.parent / "doubtful"
    report = json.loads((package / "report.json").read_text("utf-8"))
    assert report["outcome"]["safety"] == "fix-first"
    line = next(line for line in report["safety"] if line["id"] == "material-sheet")
    assert line["level"] == "fix-first" and "Before you cut it" in line["text"]
    head = (package / "gcode" / "sheet-01.nc").read_text("ascii").split("M5")[0]
    assert "(SAFETY: fix first" in head and "(UNVERIFIED RECIPE" in head


def rows_of(package, name):
    report = json.loads((package / "report.json").read_text("utf-8"))
    return next(t["points"] for t in report["cut"]["restarts"] if t["program"] == name)


def test_resume_from_a_package_and_from_its_spec(demo_package, tmp_path, capsys):
    rows = rows_of(demo_package, "sheet-02")
    last = rows[-1]
    to = ["--to", str(tmp_path)]
    assert main(["resume", str(demo_package), "sheet-02", last["piece"], *to]) == 0
    said = capsys.readouterr()
    first = next(r for r in rows if r["piece"] == last["piece"] and r["what"] != "marks")
    written = tmp_path / f"listening-post-sheet-02-from-{first['number']:03d}.nc"
    assert said.out.strip() == str(written) and "must lie exactly where it lay" in said.err
    whole = (demo_package / "gcode" / "sheet-02.nc").read_text("ascii")
    tail = "\n".join(whole.split("\n")[first["line"] - 1 :])
    text = written.read_text("ascii")
    assert text.endswith(tail) and len(text) < len(whole)
    head = " ".join(line.strip("()") for line in text.split("\n")[:3])
    assert head.startswith(f"The rest of sheet-02, from row {first['number']} of its table on: {last['piece']}")
    burns, all_burns = interpret(text).burns(), interpret(whole).burns()
    assert burns == all_burns[len(all_burns) - len(burns) :]
    assert main(["resume", str(DEMO), "2", str(first["number"]), "--out", str(demo_package.parent), *to]) == 0
    assert written.read_text("ascii") == text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("sheet-02", "X99"), "X99 is not cut on sheet-02; its pieces: "),
        (("sheet-02", "999"), "has the rows 1 to"),
        (("sheet-77", "1"), "there is no program sheet-77; there are sheet-01"),
    ],
)
def test_resume_says_what_there_is(demo_package, tmp_path, capsys, words, said):
    assert main(["resume", str(demo_package), *words, "--to", str(tmp_path)]) == 2
    assert said in capsys.readouterr().err and list(tmp_path.iterdir()) == []


def test_resume_takes_no_file_that_was_not_proved(demo_package, tmp_path, capsys):
    copy = tmp_path / "package"
    copy.mkdir()
    for name in ("manifest.json", "report.json", "gcode/sheet-01.nc"):
        (copy / name).parent.mkdir(exist_ok=True)
        (copy / name).write_bytes((demo_package / name).read_bytes())
    to = ["--to", str(tmp_path / "to")]
    assert main(["resume", str(copy), "1", "2", *to]) == 0
    program = copy / "gcode" / "sheet-01.nc"
    program.write_text(program.read_text("ascii").replace("F250", "F350"), "ascii")
    assert main(["resume", str(copy), "1", "3", *to]) == 2
    assert "not the file that was proved" in capsys.readouterr().err
    # Even with a manifest that was made to fit, what does not hold together is not written.
    text = program.read_text("ascii")
    spoilt = text.replace("M5 S0\nG0", "G0")
    program.write_text(spoilt, "ascii")
    manifest = json.loads((copy / "manifest.json").read_text("utf-8"))
    manifest["files"]["gcode/sheet-01.nc"]["sha256"] = hashlib.sha256(spoilt.encode()).hexdigest()
    (copy / "manifest.json").write_text(json.dumps(manifest), "utf-8")
    assert main(["resume", str(copy), "1", "3", *to]) == 2
    assert "does not prove" in capsys.readouterr().err
    assert [p.name for p in (tmp_path / "to").iterdir()] == ["package-sheet-01-from-002.nc"]
