"""A stage makes the same in the second process, fails the same, and the process never outlives its work."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest

from kerfwave.engine import Stage, StageError, Store, build

MODULE = """
import os, time
from dataclasses import dataclass
from pathlib import Path
from kerfwave.engine import StageError

@dataclass(frozen=True, slots=True)
class Root:
    size: float
    folder: str

@dataclass(frozen=True, slots=True)
class Number:
    value: float

def grow(size):
    return Number(size * 2)

def side(grown, folder, progress):
    progress(0.5, "half way")
    Path(folder, "side.pid").write_text(str(os.getpid()))
    if grown == 2.0:
        raise StageError("size must not be 1", where=("size",))
    if grown == 4.0 and not Path(folder, "once").exists():
        Path(folder, "once").touch()
        os._exit(1)
    while grown == 6.0:
        time.sleep(0.01)
    return Number(grown + 1)

def main(grown):
    if grown in (2.0, -2.0):
        raise StageError("the main road is closed")
    return Number(grown + 2)

def join(a, b):
    return Number(a.value * b.value)

def part(number, folder, size):
    while number == 0 and Path(folder, "wait").exists() and not Path(folder, "part-1").exists():
        time.sleep(0.01)
    with open(Path(folder, f"part-{number}"), "a") as file:
        file.write(f"{os.getpid()}\\n")
    if size == 7.0 and number == 1 and not Path(folder, "died").exists():
        Path(folder, "died").touch()
        os._exit(1)
    if size in (8.0, 9.0) and number >= (1 if size == 8.0 else 2):
        raise StageError(f"part {number} is wrong")
    return number + size

def parts(joined, folder, size, beside):
    from kerfwave.engine.sharing import shared
    return Number(sum(shared(part, [(k, folder, size) for k in range(4)], beside)))
"""
STAGES = tuple(
    Stage(name, inputs=inputs, run=f"beside_toy:{name}", output="beside_toy:Number", aside=name == "side")
    for name, inputs in (
        ("grow", ("root.size",)),
        ("side", ("grow.value", "root.folder")),
        ("main", ("grow.value",)),
        ("join", ("side", "main")),
    )
)
SHARED = (
    *STAGES,
    Stage(
        "parts",
        inputs=("join.value", "root.folder", "root.size"),
        run="beside_toy:parts",
        output="beside_toy:Number",
    ),
)


@pytest.fixture
def toy(tmp_path, monkeypatch):
    (tmp_path / "beside_toy.py").write_text(MODULE)
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "beside_toy", raising=False)
    import beside_toy

    before = set(threading.enumerate())
    yield beside_toy
    until = time.monotonic() + 20
    while set(threading.enumerate()) - before and time.monotonic() < until:
        time.sleep(0.01)  # a thread that still sends work to a process looks the module up
    sys.modules.pop("beside_toy")


def run(toy, folder, size, cache, **options):
    events = []
    root = toy.Root(size, str(folder))
    store = Store(folder / cache)
    results = build(STAGES, {"root": root}, store, want=("join",), listener=events.append, aside=True, **options)
    return results, events


def test_the_same_is_made_beside_as_here(toy, tmp_path):
    results, events = run(toy, tmp_path, 5.0, "beside")
    assert int((tmp_path / "side.pid").read_text()) != os.getpid()
    here = build(STAGES, {"root": toy.Root(5.0, str(tmp_path))}, Store(tmp_path / "here"), want=("join",))
    assert int((tmp_path / "side.pid").read_text()) == os.getpid()
    assert results["join"] == here["join"] == toy.Number(132.0)
    assert results.digest("join") == here.digest("join")
    kept = ("objects", "traces", "records")
    beside, alone = (
        [sorted(f.name for f in (tmp_path / one / k).iterdir()) for k in kept] for one in ("beside", "here")
    )
    assert beside == alone
    assert {event.stage: event.word for event in events if event.word != "started"} == {
        event.stage: event.word for event in here.events
    }
    again, _ = run(toy, tmp_path, 5.0, "beside")
    assert {event.word for event in again.events} == {"kept"}


def test_a_stage_that_feeds_on_nothing_new_runs_here(toy, tmp_path):
    run(toy, tmp_path, 5.0, "cache")
    (tmp_path / "elsewhere").mkdir()
    root = toy.Root(5.0, str(tmp_path / "elsewhere"))
    build(STAGES, {"root": root}, Store(tmp_path / "cache"), want=("join",), aside=True)
    assert int((tmp_path / "elsewhere/side.pid").read_text()) == os.getpid()


def test_the_first_complaint_in_the_table_is_the_one_that_is_told(toy, tmp_path):
    """The main road is found closed first, but the stage beside it comes before it in the table."""
    for aside in (True, False):
        events = []
        with pytest.raises(StageError, match="size must not be 1") as caught:
            build(
                STAGES,
                {"root": toy.Root(1.0, str(tmp_path))},
                Store(tmp_path / str(aside)),
                want=("join",),
                listener=events.append,
                aside=aside,
            )
        assert (caught.value.stage, caught.value.where) == ("side", ("size",))
        last = {event.stage: event.word for event in events}
        assert last == {"grow": "made", "side": "stopped", "main": "waiting", "join": "waiting"}


def test_and_a_complaint_of_the_main_road_is_told_when_there_is_no_other(toy, tmp_path):
    with pytest.raises(StageError, match="main road") as caught:
        run(toy, tmp_path, -1.0, "cache")
    assert caught.value.stage == "main"


def test_where_the_process_dies_the_work_is_done_here(toy, tmp_path):
    results, _ = run(toy, tmp_path, 2.0, "cache")
    assert results["join"] == toy.Number(30.0)
    assert int((tmp_path / "side.pid").read_text()) == os.getpid()


def test_where_no_process_is_to_be_had_too(toy, tmp_path, monkeypatch):
    def none(*arguments, **options):
        raise OSError(11, "too many processes")

    monkeypatch.setattr("kerfwave.engine.aside.ProcessPoolExecutor", none)
    results, _ = run(toy, tmp_path, 5.0, "cache")
    assert results["join"] == toy.Number(132.0)


def test_a_stage_of_a_function_that_cannot_be_sent_is_told_as_what_it_is(toy, tmp_path):
    stages = tuple(replace(one, output=dict) if one.name == "side" else one for one in STAGES)
    with pytest.raises(TypeError, match="side"):
        build(stages, {"root": toy.Root(5.0, str(tmp_path))}, Store(tmp_path / "cache"), want=("join",), aside=True)


def in_parts(toy, folder, size, *, aside):
    root = toy.Root(size, str(folder))
    results = build(SHARED, {"root": root}, Store(folder / f"cache-{aside}"), want=("parts",), aside=aside)
    pids = [(folder / f"part-{k}").read_text().split() for k in range(4)]
    return results["parts"], pids


def test_a_stage_shares_its_work_with_the_process_that_is_there(toy, tmp_path):
    (tmp_path / "wait").touch()  # the first part is not done here before the second has begun there
    made, pids = in_parts(toy, tmp_path, 5.0, aside=True)
    own, other = str(os.getpid()), (tmp_path / "side.pid").read_text()
    assert other != own and pids[:3] == [[own], [other], [own]]
    assert pids[3] in ([own], [other])  # whoever was first
    (tmp_path / "wait").unlink()
    again, pids = in_parts(toy, tmp_path, 5.0, aside=False)
    assert made == again == toy.Number(26.0) and [mine[-1] for mine in pids] == [own] * 4


def test_what_the_process_dies_of_is_made_here(toy, tmp_path):
    (tmp_path / "wait").touch()
    made, pids = in_parts(toy, tmp_path, 7.0, aside=True)
    assert made == toy.Number(34.0)
    assert pids[1][0] != pids[1][1] == str(os.getpid())


@pytest.mark.parametrize("aside", [True, False])
@pytest.mark.parametrize(("size", "first"), [(8.0, 1), (9.0, 2)])
def test_of_several_parts_that_are_wrong_the_first_is_told(toy, tmp_path, size, first, aside):
    with pytest.raises(StageError, match=f"part {first} is wrong"):
        in_parts(toy, tmp_path, size, aside=aside)


def test_nobody_waits_for_a_process_that_is_busy(toy, tmp_path):
    """The stage beside is still at work when the parts are shared out, so all are made here."""
    grow, side, main, join, parts = SHARED
    stages = (grow, side, main, replace(parts, inputs=("main.value", *parts.inputs[1:])), join)

    def hear(event):
        if event.stage == "parts" and event.word in ("made", "steady"):
            raise KeyboardInterrupt  # the stage beside never ends

    with pytest.raises(KeyboardInterrupt):
        root = toy.Root(3.0, str(tmp_path))
        build(stages, {"root": root}, Store(tmp_path / "cache"), want=("parts", "join"), aside=True, listener=hear)
    assert [(tmp_path / f"part-{k}").read_text().split() for k in range(4)] == [[str(os.getpid())]] * 4


@pytest.mark.skipif(sys.platform == "win32", reason="signals as POSIX has them")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_the_process_ends_with_its_parent(tmp_path, how):
    (tmp_path / "beside_toy.py").write_text(MODULE)
    script = tmp_path / "script.py"
    script.write_text(
        # Whoever starts the tests in the background of a shell has interrupts ignored, and so would this script.
        "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        f"import sys; sys.path[:0] = [{str(Path(__file__).parent)!r}, {str(tmp_path)!r}]\n"
        "import beside_toy\nfrom pathlib import Path\nfrom test_aside import run\n"
        f"if __name__ == '__main__': run(beside_toy, Path({str(tmp_path)!r}), 3.0, 'cache')\n"
    )
    parent = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        child = int(waited(lambda: (tmp_path / "side.pid").read_text()))
        assert child != parent.pid
        parent.send_signal(how)
        parent.wait(20)
        waited(lambda: gone(child))
    finally:
        parent.kill()


def gone(pid: int) -> str:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return "gone"
    stat = Path(f"/proc/{pid}/stat")
    return "gone" if stat.exists() and stat.read_text().rpartition(")")[2].split()[0] == "Z" else ""


def waited(ask) -> str:
    """Return what `ask` says once it says something; a test that waits in vain fails."""
    for _ in range(2000):
        try:
            if said := ask():
                return said
        except OSError:
            pass
        time.sleep(0.01)
    raise AssertionError("nothing came")
