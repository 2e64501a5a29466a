"""Nothing calls out: every command, in every process that it starts, with a guard that ends whoever tries.

The one exception is `explore --scheduler`, which is asked to work on other machines.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from conftest import DEMO
from kerfwave.cli import parser
from kerfwave.engine import cores

# Every interpreter that starts with this on its path runs it first, however it was started. Processes of one machine
# may talk by local sockets; `os.pipe` is what they use here.
GUARD = """
import os, sys
def guard(event, arguments):
    outward = event == "socket.__new__" and arguments[1] not in (0, 1) and arguments[1] != -1
    if outward or event in ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "urllib.Request"):
        with open({log!r}, "a") as log:
            log.write(f"{{event}} {{arguments[1:]}}\\n")
        raise PermissionError("no network here: " + event)
sys.addaudithook(guard)
def started():
    with open({log!r} + ".started", "a") as log:
        log.write(f"{{os.getpid()}} {{sys.orig_argv}}\\n")
started()
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=started)
"""
COMMANDS = """
import json, sys
from kerfwave.cli import main
if __name__ == "__main__":
    print(json.dumps([main(command) for command in json.loads(sys.argv[1])]), file=sys.__stderr__)
"""


@pytest.fixture
def guarded(tmp_path):
    """Return a function that runs Python under the guard, and the file in which it writes what was tried."""
    place, log = tmp_path / "guard", tmp_path / "log"
    place.mkdir()
    (place / "sitecustomize.py").write_text(GUARD.format(log=str(log)), "utf-8")
    log.touch()
    paths = os.pathsep.join([str(place), str(Path(__file__).parents[1] / "compiler")])

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "PYTHONPATH": paths}
        return subprocess.run(
            [sys.executable, *words], cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
        )

    return run, log


def test_the_guard_sees_whoever_calls_out(guarded):
    run, log = guarded
    for words in (
        "import socket; socket.create_connection(('127.0.0.1', 9))",
        "import socket; socket.getaddrinfo('example.invalid', 80)",
        "import urllib.request; urllib.request.urlopen('http://127.0.0.1:9/')",
        "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM)",
    ):
        log.write_text("")
        inner = f"import subprocess, sys; sys.exit(subprocess.call([sys.executable, '-c', {words!r}]))"
        assert run("-c", inner).returncode == 1
        assert log.read_text()
    assert run("-c", "import socket; socket.socketpair()").returncode == 0


def test_no_command_calls_out(guarded, demo_package, shelf_copy, tmp_path):
    run, log = guarded
    spec, out, package = str(shelf_copy / DEMO.name), str(demo_package.parent), str(demo_package)
    second = shelf_copy / "second.yaml"
    second.write_text(DEMO.read_text("utf-8"), "utf-8")
    walk = Path(__file__).parents[1] / "docs/walk/impedance.txt"
    driver_file = str(next((shelf_copy / "drivers").glob("*75-wideband.yaml")))
    sweep = ["--from", "20", "--to", "20000", "--seconds", "2"]
    to = ["--out", str(tmp_path / "bench")]
    commands = [
        ["check", spec, "--out", out],
        ["check", "--format", "json", spec, "--out", out],
        ["check", spec, str(second), "--jobs", "2", "--out", out],
        ["build", spec, "--out", out, "--explain"],
        ["compare", package, spec, "--out", out],
        ["coupon", spec, *to],
        ["resume", package, "1", "1", "--to", str(tmp_path)],
        ["explore", spec, "--vary", "target.level_db=80,81", "--jobs", "2", "--out", out],
        ["sweep", "write", "s.wav", *sweep],
        ["sweep", "read", "s.wav", "--sweep", "s.wav", *to],
        ["fit", driver(tmp_path), *to],
        ["promise", package, "--impedance", str(walk), *to],
        ["learn", "measured", spec, "--set", "tuning_hz=80", "--date", "2026-05-02"],
        ["learn", "driver", driver_file, "fs_hz=99", "--date", "2026-05-02", "--replace"],
        ["completion", "bash"],
    ]
    assert {command[0] for command in commands} | {"learn"} == set(parser()._subparsers._group_actions[0].choices)
    script = tmp_path / "commands.py"
    script.write_text(COMMANDS, "utf-8")
    done = run(str(script), json.dumps(commands))
    assert log.read_text() == "", done.stderr
    statuses = dict(zip(map(" ".join, commands), json.loads(done.stderr.splitlines()[-1]), strict=True))
    assert {name: status for name, status in statuses.items() if status not in (0, 1)} == {}, done.stderr


def test_no_second_process_of_a_build_calls_out(guarded, demo_package, shelf_copy):
    """Two specs with `--jobs 2`, each in a process, one of them from nothing; then one with a second core."""
    run, log = guarded
    out = ("--out", str(demo_package.parent))
    specs = [shelf_copy / name for name in ("desk-speaker.yaml", "louder.yaml", "loudest.yaml")]
    for spec, volts in zip(specs[1:], ("2.1", "2.2"), strict=True):
        spec.write_text(DEMO.read_text("utf-8").replace("volts: 2.0", f"volts: {volts}"), "utf-8")
    for some, more, least in ((specs[:2], ("--jobs", "2"), 2), (specs[2:], (), 1 if cores() > 1 else 0)):
        started = Path(f"{log}.started")
        started.unlink(missing_ok=True)
        done = run("-m", "kerfwave", "build", *map(str, some), *more, *out)
        assert log.read_text() == "", done.stderr
        assert done.returncode in (0, 1), done.stderr
        # Not counted: the command itself, and the one that only tidies up after processes.
        guarded_ones = [line for line in started.read_text().splitlines() if "resource_tracker" not in line]
        assert len(guarded_ones) - 1 >= least


def driver(folder: Path) -> str:
    """Write the impedance of a driver made up for this test: 80 Hz, Qms 4, 6 ohm, 30 ohm at resonance."""
    hz = np.geomspace(10, 5000, 200)
    bent = 1 + 4j * (hz / 80 - 80 / hz)
    z = 6 + 24 / bent + 2j * np.pi * hz * 2e-4
    rows = (f"{f:.3f} {abs(one):.4f} {np.degrees(np.angle(one)):.3f}" for f, one in zip(hz, z, strict=True))
    path = folder / "driver.txt"
    path.write_text("\n".join(rows) + "\n", "utf-8")
    return str(path)
