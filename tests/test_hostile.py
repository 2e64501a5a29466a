"""A small share of the campaign in tests/bench/hostile_inputs.py: bad input, and that nothing ever calls out."""

from __future__ import annotations

import os
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
