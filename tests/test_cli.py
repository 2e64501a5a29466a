"""The command line, as a person meets it."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from kerfwave.cli import main

SPECS = Path(__file__).parent.parent / "specs"


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """Return a folder of one's own with the demo specs and their shelf."""
    shutil.copytree(SPECS, tmp_path / "specs")
    return tmp_path / "specs"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder in which the demo was built once, with its cache, to start from."""
    home = tmp_path_factory.mktemp("built")
    shutil.copytree(SPECS, home / "specs")
    assert main(["build", str(home / "specs/listening-post.yaml"), "--out", str(home / "out")]) == 0
    return home


@pytest.fixture
def home(built: Path, tmp_path: Path) -> Path:
    """Return a copy of that folder to spoil."""
    return Path(shutil.copytree(built, tmp_path / "home"))


def content(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def edit(spec: Path, old: str, new: str) -> None:
    text = spec.read_text("utf-8")
    assert old in text
    spec.write_text(text.replace(old, new), "utf-8")


def build(home: Path, *more: str) -> int:
    return main(["build", str(home / "specs/listening-post.yaml"), "--out", str(home / "out"), *more])


def test_building_again_changes_nothing_and_runs_nothing(home, capsys):
    before = content(home / "out/listening-post")
    assert build(home, "--explain") == 0
    said = capsys.readouterr()
    assert content(home / "out/listening-post") == before
    assert {line.split()[1] for line in said.err.splitlines()} == {"kept"}
    assert said.out.strip() == str(home / "out/listening-post")


def test_same_spec_same_bytes_elsewhere_and_under_another_hash_seed(home, tmp_path):
    shutil.copytree(home / "specs", tmp_path / "far away/specs")
    command = [sys.executable, "-m", "kerfwave", "build", "specs/listening-post.yaml"]
    environment = {**os.environ, "PYTHONHASHSEED": "77", "TZ": "Pacific/Apia", "LC_ALL": "C"}
    done = subprocess.run(command, cwd=tmp_path / "far away", env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""  # progress is for terminals
    assert content(tmp_path / "far away/out/listening-post") == content(home / "out/listening-post")


def test_a_change_of_title_runs_only_the_package(home, capsys):
    edit(home / "specs/listening-post.yaml", "name: Listening post, wall speaker", "name: Another name")
    assert build(home, "--explain") == 0
    words = {line.split()[0]: line.split()[1] for line in capsys.readouterr().err.splitlines()}
    assert words.pop("package") == "made"
    assert set(words.values()) == {"kept"}
    assert json.loads((home / "out/listening-post/report.json").read_text())["name"] == "Another name"


def test_a_change_of_recipe_leaves_body_and_nest_alone(home, capsys):
    edit(home / "specs/recipes/invented-blue-diodes.yaml", "kerf_mm: 0.22", "kerf_mm: 0.20")
    assert build(home, "--explain") == 0
    words = {line.split()[0]: line.split()[1] for line in capsys.readouterr().err.splitlines()}
    kept = {name for name, word in words.items() if word == "kept"}
    assert kept == {
        *("sizing", "body", "response", "field", "listening", "spread", "learned", "shaping", "slices", "nest"),
        *("drawings", "supply", "rules", "sheets", "charts"),
    }
    assert json.loads((home / "out/listening-post/report.json").read_text())["recipe"]["kerf_mm"] == 0.2


def test_another_feed_leaves_routes_their_proof_and_all_drawings_alone(home, capsys):
    edit(home / "specs/recipes/invented-blue-diodes.yaml", "feed_mm_min: 250", "feed_mm_min: 251")
    assert build(home, "--explain") == 0
    words = {line.split()[0]: line.split()[1] for line in capsys.readouterr().err.splitlines()}
    run = {"recipe", "breakdown", "paths", "safety", "trials", "programs", "pages", "package"}
    assert {name for name, word in words.items() if word in ("made", "steady")} == run
    assert "F251" in (home / "out/listening-post/gcode/sheet-01.nc").read_text()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("wall_mm: 6", "wall_mm: 0.6", "wall_mm"),
        ("ripple_db: 7", "ripple_bd: 7", "ripple_db"),
        ("height_mm: 89", "height_mm: 78", "K502 no stack of"),
        ("driver: drivers/invented-75-wideband.yaml", "driver: ../../etc/passwd", "driver"),
        ("back_mm: 190, depth_mm: 195", "back_mm: 60, depth_mm: 70", "fold"),
    ],
)
def test_bad_input_is_told_with_its_place_and_loses_nothing(home, capsys, old, new, said):
    spec = home / "specs/listening-post.yaml"
    edit(spec, old, new)
    before = content(home / "out/listening-post")
    assert build(home) == 2
    err = capsys.readouterr().err
    line = next(i for i, text in enumerate(spec.read_text().splitlines(), 1) if new.split(":")[0] in text)
    assert f"listening-post.yaml:{line}:" in err
    assert said in err
    assert "Traceback" not in err
    assert content(home / "out/listening-post") == before


def test_too_few_sheets_name_what_is_left(home, capsys):
    edit(home / "specs/stock/birch-6.yaml", "count: 12", "count: 2")
    assert build(home) == 2
    assert "birch-6.yaml:" in (err := capsys.readouterr().err) or "listening-post.yaml:" in err
    assert "L" in err and "sheet" in err


def test_a_piece_larger_than_the_bed_is_named(home, capsys):
    edit(home / "specs/machines/open-frame-5w5.yaml", "bed_mm: [400, 400]", "bed_mm: [200, 180]")
    assert build(home) == 2
    assert "L01" in capsys.readouterr().err


def test_a_target_out_of_reach_is_a_failing_check_and_its_programs_say_so(home, capsys):
    edit(home / "specs/listening-post.yaml", "level_db: 80 ", "level_db: 99 ")
    assert build(home) == 1
    err = capsys.readouterr().err
    assert "design check failed" in err and "level" in err
    package = home / "out/listening-post"
    assert "DESIGN CHECK FAILED" in (package / "gcode/sheet-01.nc").read_text()
    assert "design check failed" in (package / "guide.html").read_text().lower()
    assert "level" in json.loads((package / "report.json").read_text())["outcome"]["failed_checks"]


def test_check_sizes_and_writes_no_package(shelf, tmp_path, capsys):
    assert main(["check", str(shelf / "listening-post.yaml"), "--out", str(tmp_path / "out")]) == 0
    assert "ok   ripple" in capsys.readouterr().out
    assert not (tmp_path / "out/listening-post").exists()


def test_compare_tells_same_from_different(home, capsys):
    spec = home / "specs/listening-post.yaml"
    package = home / "out/listening-post"
    assert main(["compare", str(package), str(spec), "--out", str(home / "out")]) == 0
    capsys.readouterr()
    other = shutil.copy(spec, home / "specs/other.yaml")
    edit(Path(other), "volts: 2.0", "volts: 1.0")
    assert main(["compare", str(package), str(other), "--out", str(home / "out")]) == 1
    assert "quieter" in capsys.readouterr().out
    assert main(["compare", str(package), str(home / "nowhere"), "--out", str(home / "out")]) == 2
    assert main(["compare", "--json", str(package), str(other), "--out", str(home / "out")]) == 1
    json.loads(capsys.readouterr().out)


def test_text_of_a_spec_stays_text(home):
    """Names that try to be programs, pages and formulas come out as harmless text."""
    evil = '=HYPERLINK("x")<script>alert(1)</script>)\\nG1 X9 S1000 M3('
    edit(home / "specs/listening-post.yaml", "name: Listening post, wall speaker", f"name: '{evil[:78]}'")
    edit(home / "specs/stock/birch-6.yaml", "name: Birch plywood, 1/4 in class", "name: '@SUM(A1)<svg onload=x>'")
    assert build(home) == 0
    package = home / "out/listening-post"
    for path in package.rglob("*"):
        if path.suffix in (".html", ".svg"):
            text = path.read_text("utf-8")
            assert "<script>alert" not in text and "<svg onload" not in text
        if path.suffix == ".nc":
            bare = "\n".join(line.split("(")[0] for line in path.read_text("ascii").splitlines())
            assert "HYPERLINK" not in bare and "SUM" not in bare
    for line in (package / "bom.csv").read_text("utf-8").splitlines():
        for cell in line.split(","):
            assert cell.strip('"')[:1] not in ("=", "+", "@")


def test_two_specs_of_one_name_are_refused(shelf, tmp_path, capsys):
    twin = tmp_path / "twin"
    twin.mkdir()
    shutil.copytree(shelf, twin / "specs")
    specs = [str(shelf / "listening-post.yaml"), str(twin / "specs/listening-post.yaml")]
    assert main(["build", *specs, "--out", str(tmp_path / "out")]) == 2
    assert "K501" in capsys.readouterr().err


def test_help_needs_nothing_heavy():
    code = "import sys; from kerfwave.cli import parser; parser(); print([m for m in sys.modules if m.split('.')[0] in "
    code += "('numpy', 'scipy', 'shapely', 'jinja2', 'jsonschema', 'yaml', 'svgwrite')])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
