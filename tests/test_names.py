"""File names and titles in any script, under any locale: the package is the same to the byte, and nothing fails."""

from __future__ import annotations

import errno
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from conftest import DEMO
from kerfwave import explore_jobs, parallel_jobs
from kerfwave.cli import main
from kerfwave.engine import verify
from kerfwave.engine.packagefiles import stamp_of
from kerfwave.filenames import MOST_BYTES, MOST_CHARACTERS, names_a_package, native, text_of_name
from kerfwave.findings import visible
from wards import of_package

SCRIPTS = "木工-спецификация-سماعة-e\u0301-😀"
TITLE = "木工 спецификация سماعة e\u0301 😀"
FOLDER = "مجلد 木/выход 😀"
LOCALES = {
    "bytes alone": {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    "output in ASCII": {"LC_ALL": "C.UTF-8", "PYTHONIOENCODING": "ascii"},
}


@pytest.fixture
def home(demo_package, shelf_copy):
    """A shelf with names and a title in many scripts, and a folder for the output with what the demo worked out."""
    text = DEMO.read_text("utf-8").replace("name: Listening post, wall speaker", f"name: {TITLE}")
    text = text.replace("drivers/invented-75-wideband.yaml", "drivers/динамик-木.yaml")
    assert TITLE in text and "динамик" in text
    shutil.move(shelf_copy / "drivers/invented-75-wideband.yaml", shelf_copy / "drivers/динамик-木.yaml")
    (shelf_copy / f"{SCRIPTS}.yaml").write_text(text, "utf-8")
    shutil.copytree(demo_package.parent / ".cache", shelf_copy.parent / FOLDER / ".cache")
    return shelf_copy.parent


def kerfwave(home: Path, locale: str, *words: str) -> tuple[bytes, str]:
    """Run a command under a locale; return its output and what it said."""
    kept = {key: value for key, value in os.environ.items() if not key.startswith(("LC_", "LANG", "PYTHONIO"))}
    done = subprocess.run(
        [sys.executable, "-m", "kerfwave", *words], cwd=home, env={**kept, **LOCALES[locale]}, capture_output=True
    )
    assert done.returncode == 0, done.stderr
    return done.stdout, done.stderr.decode("utf-8")


def test_the_same_package_under_every_locale(home):
    spec, package = f"specs/{SCRIPTS}.yaml", home / FOLDER / SCRIPTS
    found = {}
    for locale in LOCALES:
        said, told = kerfwave(home, locale, "build", spec, "--out", FOLDER)
        path = f"{FOLDER}/{SCRIPTS}"
        shown = path.encode("ascii", "backslashreplace") if locale == "output in ASCII" else path.encode()
        assert (said, told) == (shown + b"\n", "")
        assert verify(package) and of_package(package) == []
        found[locale] = stamp_of(package)
        guide = (package / "guide.html").read_text("utf-8")
        assert f"<title>{TITLE}" in guide and f"{SCRIPTS}, sha256" in guide
        assert SCRIPTS in (package / "sheets/sheet-01.svg").read_text("utf-8")
        shutil.rmtree(package)
    assert len(set(found.values())) == 1
    assert sorted(path.name for path in (home / FOLDER).iterdir()) == [".cache"]


@pytest.mark.parametrize("locale", ["bytes alone", "output in ASCII"])
def test_the_other_commands_too(home, locale):
    spec, out = f"specs/{SCRIPTS}.yaml", ("--out", FOLDER)
    kerfwave(home, locale, "check", spec, *out)
    kerfwave(home, locale, "explore", spec, "--vary", "target.level_db=80", *out)
    assert verify(home / FOLDER / f"explore-{SCRIPTS}")
    kerfwave(home, locale, "learn", "measured", spec, "--set", "tuning_hz=80", "--date", "2026-05-02", "--by", "木村")
    assert "木村" in (home / f"specs/{SCRIPTS}.measured.yaml").read_text("utf-8")


@pytest.mark.parametrize(
    ("stem", "fits"),
    [
        ("listening-post", True), ("木工", True), ("спецификация", True), ("سماعة", True), ("e\u0301", True),
        ("😀", True), ("A.b_c-1", True), ("\udce6\udc9c\udca8", True),
        ("", False), ("-x", False), (".x", False), ("a b", False), ("a\nb", False), ("a/b", False), ("=1", False),
        ("\u0301e", False), ("a\u202eb", False), ("a\u200bb", False), ("$(x)", False), ("a'b", False),
        ("x" * MOST_CHARACTERS, True), ("x" * (MOST_CHARACTERS + 1), False), ("木" * (MOST_BYTES // 3 + 1), False),
        ("\udcff\udcfe", False), ("\ud800", False), ("a\ufffd", False),
    ],
)  # fmt: skip
def test_what_may_name_a_package(stem, fits):
    assert names_a_package(stem) is fits


@given(st.text())
def test_a_name_read_from_its_bytes_is_the_name(text):
    text = "".join(char for char in text if not "\ud800" <= char <= "\udfff")
    assert text_of_name(text.encode("utf-8").decode("ascii", "surrogateescape")) == text == text_of_name(text)
    assert visible(text) == visible(text.encode("utf-8").decode("ascii", "surrogateescape"))
    assert text_of_name(native(text)) == text


# Where output goes nowhere.


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device here that is always full")
def test_an_output_that_takes_no_more_is_told(tmp_path):
    for words in (("check", "nothing.yaml", "--format", "json"), ("completion", "bash")):
        command = [sys.executable, "-m", "kerfwave", *words]
        with Path("/dev/full").open("w") as full:
            # Buffered, as it is for most: then it is the end of the program that finds out.
            environment = {**os.environ, "PYTHONUNBUFFERED": ""}
            done = subprocess.run(
                command, cwd=tmp_path, env=environment, stdout=full, stderr=subprocess.PIPE, text=True
            )
        assert done.returncode == 3
        assert "standard output: the disk is full: free some room" in done.stderr
        assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="a shell that closes streams")
@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
def test_a_closed_stream_is_no_fault(tmp_path, closed):
    line = f'"{sys.executable}" -m kerfwave check nothing.yaml {closed}'
    done = subprocess.run(["/bin/sh", "-c", line], cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr + done.stdout


# Where a process that works for this one is ended.


@pytest.mark.skipif(multiprocessing.get_start_method() != "fork", reason="the workers are to be forks of this process")
@pytest.mark.parametrize("command", ["check", "explore"])
def test_a_worker_that_is_killed_is_told_and_leaves_no_riddle(shelf_copy, tmp_path, monkeypatch, capfd, command):
    monkeypatch.setattr(parallel_jobs, "_one", killed)
    monkeypatch.setattr(explore_jobs, "row_of", killed)
    specs = [str(shelf_copy / DEMO.name), str(shelf_copy / "desk-speaker.yaml")]
    words = {"check": specs, "explore": [specs[0], "--vary", "target.level_db=80,81"]}[command]
    out = tmp_path / "out"
    assert main([command, *words, "--jobs", "2", "--out", str(out)]) == 3
    said = capfd.readouterr().err
    assert "was ended from outside" in said and "fewer --jobs" in said and "Traceback" not in said
    assert not out.exists() or [path.name for path in out.iterdir()] in ([], [".cache"])


def killed(*arguments):
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.skipif(multiprocessing.get_start_method() != "fork", reason="the workers are to be forks of this process")
def test_a_disk_that_is_full_for_a_worker_is_told(tmp_path, monkeypatch, capfd):
    def full(*arguments, **options):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "some/place")

    monkeypatch.setattr("tempfile.TemporaryDirectory", full)
    words = ["--vary", "target.level_db=80,81", "--jobs", "2", "--out", str(tmp_path / "out")]
    assert main(["explore", str(DEMO), *words]) == 3
    assert "some/place: the disk is full: free some room" in capfd.readouterr().err
    assert not list(tmp_path.rglob("*.csv"))


@pytest.mark.parametrize("command", ["check", "explore"])
def test_where_no_worker_can_be_started(demo_package, tmp_path, monkeypatch, capfd, command):
    def none(*arguments, **options):
        raise OSError(errno.EAGAIN, os.strerror(errno.EAGAIN))

    monkeypatch.setattr(parallel_jobs, "ProcessPoolExecutor", none)
    out = ["--jobs", "2", "--out", str(demo_package.parent)]
    if command == "check":  # it does without
        (tmp_path / "nothing.yaml").write_text("")
        assert main(["check", str(DEMO), str(tmp_path / "nothing.yaml"), *out]) == 2
        said = capfd.readouterr()
        assert "ok   relief" in said.out and "nothing.yaml:1:1" in said.err and "one spec after another" in said.err
    else:
        assert main(["explore", str(DEMO), "--vary", "target.level_db=80,81", *out]) == 3
        assert "no process beside this one can be started" in capfd.readouterr().err


WORKERS = """
import os, sys, time
from pathlib import Path
from kerfwave import cli, parallel_jobs
def waits(name, *rest):
    Path(sys.argv[1], f"{os.getpid()}.pid").touch()
    time.sleep(600)
parallel_jobs._one = waits
if __name__ == "__main__":
    cli.main(["check", "a.yaml", "b.yaml", "--jobs", "2"])
"""


@pytest.mark.skipif(multiprocessing.get_start_method() != "fork", reason="the workers are to be forks of a script")
def test_workers_end_with_a_command_that_is_killed(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(WORKERS, "utf-8")
    parent = subprocess.Popen([sys.executable, str(script), str(tmp_path)], cwd=tmp_path)
    waited(lambda: len(list(tmp_path.glob("*.pid"))) == 2)
    parent.kill()
    parent.wait(20)
    for file in tmp_path.glob("*.pid"):
        waited(lambda pid=int(file.stem): is_gone(pid))


def is_gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    stat = Path(f"/proc/{pid}/stat")
    return stat.exists() and stat.read_text().rpartition(")")[2].split()[0] == "Z"


def waited(is_so) -> None:
    for _ in range(2000):
        if is_so():
            return
        time.sleep(0.01)
    raise AssertionError("in vain")
