"""A small share of the campaign in tests/bench/hostile_inputs.py: bad input, and that nothing ever calls out."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path

import pytest

from conftest import DEMO
from hostile import MARK, case
from kerfwave import jobs
from kerfwave.cli import main
from kerfwave.engine.packagefiles import stamp_of
from kerfwave.findings import SpecError, render
from wards import Watch, of_package, of_words


@pytest.fixture(scope="module")
def watch() -> Watch:
    """Return the one watcher of this process."""
    return Watch()


@pytest.fixture
def out(demo_package: Path, tmp_path: Path) -> Path:
    """Return a copy of the folder with the demo's package and its cache."""
    return Path(shutil.copytree(demo_package.parent, tmp_path / "out"))


@pytest.mark.parametrize("kind", ["bytes", "values", "bounds", "texts", "shelf", "names", "measured"])
def test_spoilt_files_are_taken_or_refused_in_words(kind, tmp_path, watch):
    outcomes = set()
    for seed in range(40):
        try:
            spec = case(seed, kind).write(tmp_path)
        except OSError:  # a name that this file system does not take
            continue
        with watch.over(tmp_path / "specs", tmp_path / "out") as astray:
            said: list[str] = []
            try:
                jobs._load(spec, lambda found, said=said: said.append(render(found, False)))
                outcomes.add("taken")
            except SpecError as error:
                said.append(render(error.findings, False))
                outcomes.add("refused")
        assert astray == [], seed
        assert of_words("".join(said)) == [], seed
    assert "taken" in outcomes or kind in ("values", "names")
    assert "refused" in outcomes or kind == "texts"


def test_whatever_the_texts_say_the_package_holds_them_as_text(out, tmp_path, watch, capsys):
    one = next(found for n in range(99) if (found := case(n, "texts")).spec == DEMO.name)
    spec = one.write(tmp_path)
    with watch.over(tmp_path / "specs", out) as astray:
        assert main(["build", str(spec), "--out", str(out)]) in (0, 1)
    said = capsys.readouterr()
    assert of_words(said.out + said.err) == []
    assert astray == []
    assert MARK in (out / DEMO.stem / "report.json").read_text("utf-8")
    assert of_package(out / DEMO.stem) == []


def test_what_cannot_be_read_beside_the_spec_is_told_and_loses_nothing(out, shelf_copy, tmp_path, capsys):
    before = stamp_of(out / DEMO.stem)
    beside = shelf_copy / f"{DEMO.stem}.measured.yaml"
    (tmp_path / "elsewhere.yaml").write_text("measured: {}\n", "utf-8")
    for spoil, told in (
        (lambda: beside.write_bytes(b"measured: \xff"), "not UTF-8"),
        (lambda: beside.write_bytes(b"history: [{quantity: [tuning_hz]}]"), "no quantity to record"),
        (lambda: beside.symlink_to(tmp_path / "elsewhere.yaml"), "link that leads out"),
    ):
        spoil()
        assert main(["build", str(shelf_copy / DEMO.name), "--out", str(out)]) == 2
        assert told in capsys.readouterr().err
        beside.unlink()
    assert stamp_of(out / DEMO.stem) == before


def put(shelf: Path, old: str, new: str) -> Path:
    """Return the demo's spec with one text in it changed."""
    spec = shelf / DEMO.name
    text = spec.read_text("utf-8")
    assert old in text
    spec.write_text(text.replace(old, new), "utf-8")
    return spec


def response_of(shelf: Path, name: str) -> Path:
    """Return a spec whose driver names a measured response."""
    driver = shelf / "drivers/invented-57-wideband.yaml"
    driver.write_text(driver.read_text("utf-8").replace("invented-57-response", name), "utf-8")
    return shelf / "desk-speaker.yaml"


def loop(shelf: Path) -> Path:
    (shelf / "loop.yaml").symlink_to("loop.yaml")
    return shelf / "loop.yaml"


def raw(shelf: Path, data: bytes) -> Path:
    (shelf / DEMO.name).write_bytes(data)
    return shelf / DEMO.name


WALL = "wall_mm: 6"


@pytest.mark.parametrize(
    "spoilt",
    [
        lambda shelf: shelf / ("x" * 300 + ".yaml"),
        lambda shelf: shelf / ("d/" * 3000 + "x.yaml"),
        lambda shelf: shelf / DEMO.name / "x.yaml",
        lambda shelf: shelf,
        lambda shelf: Path("/dev/zero"),
        loop,
        lambda shelf: response_of(shelf, "x" * 180 + "木" * 30),
        lambda shelf: response_of(shelf, "木" * 90),
        lambda shelf: response_of(shelf, "a/" * 60 + "x"),
        lambda shelf: put(shelf, "drivers/invented-75-wideband.yaml", "drivers/" + "木" * 90 + ".yaml"),
        lambda shelf: put(shelf, "drivers/invented-75-wideband.yaml", '"drivers/a\\0b.yaml"'),
        *(
            lambda shelf, value=value: put(shelf, WALL, f"wall_mm: {value}")
            for value in ("1e400", "-1e400", "9" * 10_000, "1" + "0" * 400 + ".0", "5e-324", ".inf", "*a", "١٢")
        ),
        lambda shelf: put(shelf, WALL, f"{WALL}\n  {WALL}"),
        lambda shelf: raw(shelf, b"[" * 1_000_000),
        lambda shelf: raw(shelf, b"- " * 200_000),
        lambda shelf: raw(shelf, b"a: &a [x]\nb: [" + b"*a, " * 200_000 + b"]\n"),
        lambda shelf: raw(shelf, DEMO.read_text("utf-8").encode("utf-16")),
        lambda shelf: raw(shelf, DEMO.read_text("utf-8").encode("utf-16-le")),
        lambda shelf: raw(shelf, DEMO.read_text("utf-8").encode("utf-32")),
        lambda shelf: raw(shelf, b"\0" * 1000),
    ],
)  # fmt: skip
def test_what_no_spec_can_be_is_told_with_its_place(shelf_copy, tmp_path, capsys, spoilt):
    spec = spoilt(shelf_copy)
    assert main(["build", str(spec), "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr()
    first = said.err.splitlines()[0]
    assert re.match(r".*:\d+:\d+ error K\d{3} ", first), first[:200]
    assert of_words(said.out + said.err) == [] and said.out == ""
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "write", [lambda text: b"\xef\xbb\xbf" + text.encode(), lambda text: text.replace("\n", "\r\n").encode()]
)
def test_a_byte_order_mark_and_other_line_ends_change_nothing(shelf_copy, write):
    plain = jobs._load(shelf_copy / DEMO.name).loaded.spec
    assert jobs._load(raw(shelf_copy, write(DEMO.read_text("utf-8")))).loaded.spec == plain


@pytest.mark.parametrize(
    "words",
    [
        ["compare", "{}", "{}"], ["coupon", "{}.yaml"], ["resume", "{}", "1", "1"], ["sweep", "read", "{}.wav"],
        ["explore", "{}.yaml", "--vary", "drive.volts=1,2"], ["fit", "{}.txt"], ["promise", "{}", "--impedance", "{}"],
        ["learn", "measured", "{}.yaml", "--set", "tuning_hz=80", "--date", "2026-05-02"],
        ["learn", "driver", "{}.yaml", "fs_hz=80", "--date", "2026-05-02"], ["check", "--format", "json", "{}.yaml"],
        ["sweep", "write", "{}.wav"], ["compare", "{}@HEAD", "{}"],
    ],
)  # fmt: skip
def test_a_name_that_no_file_can_have_is_bad_input_for_every_command(tmp_path, capsys, words):
    name = str(tmp_path / ("x" * 300))
    assert main([word.format(name) for word in words]) == 2
    said = capsys.readouterr()
    assert of_words(said.out + said.err) == []
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names are a thing of POSIX systems")
def test_a_pipe_on_the_shelf_keeps_nobody_waiting(shelf_copy, tmp_path, capsys):
    os.mkfifo(shelf_copy / "drivers/pipe.txt")
    driver = shelf_copy / "drivers/invented-57-wideband.yaml"
    driver.write_text(driver.read_text("utf-8").replace("invented-57-response", "pipe"), "utf-8")
    assert main(["check", str(shelf_copy / "desk-speaker.yaml"), "--out", str(tmp_path / "out")]) == 2
    assert "not a regular file" in capsys.readouterr().err


def test_no_command_opens_a_socket_or_starts_a_program(out, shelf_copy, watch, capsys):
    spec, package = str(shelf_copy / DEMO.name), str(out / DEMO.stem)
    for command in (
        ["check", spec],
        ["build", spec],
        ["compare", package, spec],
        ["coupon", spec],
    ):
        with watch.over(shelf_copy, out) as astray:
            assert main([*command, "--out", str(out)]) == 0, capsys.readouterr().err
        assert astray == [], command


def test_the_wards_see_what_they_should(tmp_path, watch):
    bad = {
        "a.json": '{"x": NaN}', "b.nc": f"G1 X1 (a) {MARK}\n", "c.csv": f"a,=1+{MARK}\n", "d.csv": "1,inf\n",
        "e.svg": f"<svg xmlns='http://www.w3.org/2000/svg'><text class='{MARK}'>x</text></svg>",
        "f.html": f"<!DOCTYPE html><html><head><title>x</title></head><body><script>{MARK}</script></body></html>",
        "g.nc": "(MSG, x)\n", "h.nc": "(open\n", "i.csv": f"a;@{MARK}\n",
    }  # fmt: skip
    for name, text in bad.items():
        folder = tmp_path / name[0]
        folder.mkdir()
        (folder / name).write_text(text, "utf-8")
        assert of_package(folder), name
    assert of_words("Traceback") and of_words("\x1b[2J")
    with watch.over(tmp_path / "a", tmp_path / "b") as astray:
        (tmp_path / "d" / "d.csv").read_bytes()
        (tmp_path / "a" / "made").write_bytes(b"")
    assert len(astray) == 2
