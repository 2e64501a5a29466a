"""Killed at any moment, a disk that fills up or turns read-only at any write, locks and clocks that are not as thought.

`faults.py` beside this has the build that meets a fault at every single step, and what must hold afterwards.
"""

from __future__ import annotations

import errno
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from conftest import DEMO
from kerfwave import account, jobs
from kerfwave.engine import PublishError, Store, publish, verify
from kerfwave.engine.files import advice, write_atomic
from kerfwave.engine.lock import locked

Root = sys.modules["kerfwave_toy"].Root
posix = pytest.mark.skipif(sys.platform == "win32", reason="forks, signals and locks as POSIX has them")
FILES = {"bom.csv": b"old\n", "gcode/sheet-01.nc": b"G21\n"}


@posix
@pytest.mark.parametrize(
    ("start", "fault"),
    [("edited", "killed"), ("nothing", "killed"), ("renames", "killed"), ("edited", "full"), ("nothing", "read_only")],
)
def test_a_fault_at_any_step_of_a_build_leaves_a_whole_package_and_no_riddle(tmp_path, start, fault):
    """`edited`: a package stands, somebody added a file to it, and the cache is there. `nothing`: neither is.
    `renames`: a package stands, and the system has no way to exchange two folders in one step.
    """
    script = Path(__file__).with_name("faults.py")
    command = [sys.executable, str(script), str(tmp_path), str(DEMO), start, fault]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.stderr == ""
    assert int(done.stdout.split()[0]) > 50


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EIO])
def test_a_person_s_own_file_is_the_old_one_or_the_new_one(tmp_path, monkeypatch, number):
    """What was measured, a driver file, the rest of a program: written by `write_atomic` all of them."""
    target = tmp_path / "x.measured.yaml"
    target.write_bytes(b"old")
    for name in ("write_bytes", "replace"):
        with monkeypatch.context() as patch:
            patch.setattr(Path, name, failing(getattr(Path, name), number))
            with pytest.raises(OSError) as caught:
                write_atomic(target, b"new and longer")
        assert advice(caught.value)
        assert [path.name for path in tmp_path.iterdir()] == [target.name]
        assert target.read_bytes() == b"old"
    synced = []
    monkeypatch.setattr(os, "fsync", lambda handle: synced.append(target.read_bytes()))
    write_atomic(target, b"new", synced=True)
    assert synced == [b"old"] and target.read_bytes() == b"new"


def failing(plain, number):
    def half(path, what):
        if isinstance(what, bytes):
            plain(path, what[: len(what) // 2])
        raise OSError(number, os.strerror(number), str(path))

    return half


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (errno.ENOSPC, "the disk is full: free some room"),
        (errno.EROFS, "name another folder"),
        (errno.EACCES, "name another folder"),
        (errno.ENAMETOOLONG, "use a shorter one"),
        (errno.EIO, os.strerror(errno.EIO).lower()),
    ],
)
def test_what_the_machine_failed_at_is_told_with_what_to_do(number, said):
    assert said in advice(OSError(number, os.strerror(number)))


def test_a_cache_in_the_place_of_which_there_is_a_file(toy):
    toy.folder.write_text("mine")
    outcome = toy.build(Root(7.0))
    assert len(outcome.ran) == 5 and len(outcome.notes) == 1
    assert "there can be no cache in" in outcome.notes[0]
    assert toy.folder.read_text() == "mine"


def test_the_table_of_faults_names_tests_that_are_there():
    tests = Path(__file__).parents[1]
    table = (tests.parent / "docs/faults.md").read_text("utf-8")
    named = set(re.findall(r"`([\w/]+(?:\.py|/))`", table))
    assert len(named) > 6
    assert [name for name in named if not (tests / name.removeprefix("tests/")).exists()] == []


# Locks.


@posix
def test_the_lock_of_a_process_that_died_keeps_nobody_waiting(tmp_path):
    code = (
        "import os, signal, sys; from pathlib import Path; from kerfwave.engine.lock import locked\n"
        "with locked(Path(sys.argv[1])): os.kill(os.getpid(), signal.SIGKILL)"
    )
    lock = tmp_path / ".demo.lock"
    assert subprocess.run([sys.executable, "-c", code, str(lock)], check=False).returncode == -9
    assert lock.exists()
    waited = []
    assert publish(FILES, tmp_path / "demo", lambda: waited.append(1)).changed
    assert not waited and not lock.exists()


PROCESS = """
import errno, fcntl, sys
from pathlib import Path
def none(handle, how): raise OSError(errno.ENOLCK, "No locks available")
fcntl.flock = none
from kerfwave.engine import PublishError, publish
sys.modules["kerfwave.engine.publish"].exchange = lambda a, b: False
for number in range(25):
    files = {f"sheets/sheet-{i:02}.svg": f"{sys.argv[2]} {number} {i}".encode() for i in range(12)}
    try:
        publish(files, Path(sys.argv[1]))
    except PublishError as error:
        assert "as it was before" in str(error)
"""


@posix
def test_without_locks_two_builds_of_one_target_do_not_mix(tmp_path):
    """As on a network folder whose server has neither locks nor an exchange in one step."""
    target = tmp_path / "out" / "demo"
    command = [sys.executable, "-c", PROCESS, str(target)]
    both = [subprocess.Popen([*command, word], stderr=subprocess.PIPE, text=True) for word in ("one", "two")]
    for process in both:
        assert process.communicate()[1] == "" and process.returncode == 0
    publish(FILES, target)
    assert verify(target)
    left = {path.name for path in target.parent.iterdir()}
    assert {name for name in left if not name.startswith("demo.edited-")} == {"demo"}


@posix
@pytest.mark.parametrize("number", [errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP])
def test_a_file_system_without_locks_is_told_apart_from_a_lock_that_is_held(tmp_path, monkeypatch, number):
    import fcntl

    def none(handle, how):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(fcntl, "flock", none)
    with locked(tmp_path / "lock", lambda: pytest.fail("nobody has it")) as alone:
        assert not alone
    monkeypatch.undo()
    with locked(tmp_path / "lock") as alone:
        assert alone


@posix
def test_a_server_that_refuses_is_told(tmp_path, monkeypatch):
    import fcntl

    def stale(handle, how):
        raise OSError(errno.ESTALE, os.strerror(errno.ESTALE))

    monkeypatch.setattr(fcntl, "flock", stale)
    with pytest.raises(PublishError, match="as it was before"):
        publish(FILES, tmp_path / "demo")
    assert not (tmp_path / "demo").exists()


# Clocks.


@pytest.mark.parametrize("when", [0, 4_000_000_000], ids=["1970", "2096"])
def test_the_clock_may_say_what_it_likes(toy, tmp_path, when):
    """Cache, spec and shelf have times of another age; nothing runs again, and what really changed does."""
    fresh = toy.build(Root(7.0))
    for path in (toy.folder, *toy.folder.rglob("*")):
        os.utime(path, (when, when))
    again = toy.build(Root(7.0))
    assert again.ran == [] and dict(again.results) == dict(fresh.results)
    assert toy.build(Root(9.0)).ran == ["grow", "left", "right", "join"]
    spec = tmp_path / "x.yaml"
    spec.write_text(DEMO.read_text("utf-8"), "utf-8")
    told = account.account_of(spec, {str(spec): jobs.sha256_of(spec)}, ())
    os.utime(spec, (when, when))
    assert account.standing_account(spec, told.record) == told
    spec.write_text(spec.read_text("utf-8").replace("height_mm: 89", "height_mm: 90"), "utf-8")
    os.utime(spec, (when, when))
    assert account.standing_account(spec, told.record) is None


def test_an_account_that_somebody_spoilt_is_none(tmp_path):
    """Damaged on the disk the record does not verify; of another age it is of another shape."""
    store = Store(tmp_path / "cache")
    told = account.account_of(DEMO, {str(DEMO): jobs.sha256_of(DEMO)}, ())
    store.put_record("package:x", told.record)
    (entry,) = (tmp_path / "cache/records").iterdir()
    good = entry.read_bytes()
    for at in range(0, len(good), 7):
        for bad in (good[:at], good[:at] + bytes([good[at] ^ 1]) + good[at + 1 :]):
            entry.write_bytes(bad)
            found = store.get_record("package:x")
            assert found is None or found == told.record
    entry.write_bytes(good)
    record = store.get_record("package:x")
    assert account.standing_account(DEMO, record) == told
    for key in record:
        assert account.standing_account(DEMO, {**record, key: None}) is None
