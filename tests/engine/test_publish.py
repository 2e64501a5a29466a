"""A package appears whole or not at all, whatever goes wrong at whichever step."""

from __future__ import annotations

import errno
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from kerfwave.engine import PublishError, is_current, publish, verify
from kerfwave.engine import publish as publish_function
from kerfwave.engine.packagefiles import stamp_of

module = sys.modules[publish_function.__module__]
OLD = {"bom.csv": b"old\n", "sheets/sheet-01.svg": b"<svg/>", "gcode/sheet-01.nc": b"G21\n"}
NEW = {"bom.csv": b"new\n", "sheets/sheet-01.svg": b"<svg/>", "guide.html": b"<p>", "gcode/coupon-kerf.nc": b""}


@pytest.fixture(params=["exchange", "two renames"])
def target(request, tmp_path, monkeypatch):
    if request.param == "two renames":
        monkeypatch.setattr(module, "exchange", lambda a, b: False)
    return tmp_path / "out" / "demo"


def content(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def holds(folder, files):
    found = content(folder)
    return verify(folder) and {name: found[name] for name in found if name != "manifest.json"} == files


def neighbours(target):
    return sorted(path.name for path in target.parent.iterdir())


def test_a_package_is_written_whole_with_a_manifest_of_it(target):
    done = publish(OLD, target)
    assert done.changed
    assert holds(target, OLD)
    assert is_current(target, done.stamp)
    assert neighbours(target) == ["demo"]
    listed = json.loads((target / "manifest.json").read_bytes())["files"]
    assert list(listed) == sorted(OLD)
    # What GNU coreutils' sha256sum says of a file that holds "old" and a newline.
    assert listed["bom.csv"] == {
        "sha256": "01d09d19c2139a46aebfb577780d123d7396e97201bc7ead210a2ebff8239dee",
        "size": 4,
    }


def test_the_next_one_replaces_it_and_leaves_nothing_behind(target):
    publish(OLD, target)
    done = publish(NEW, target)
    assert done.changed
    assert done.kept is None
    assert holds(target, NEW)
    assert neighbours(target) == ["demo"]
    assert not (target / "gcode" / "sheet-01.nc").exists()


def test_the_same_package_is_left_untouched(target):
    publish(OLD, target)

    def standing():
        return [(path.stat().st_ino, path.stat().st_mtime_ns) for path in (target, *sorted(target.rglob("*")))]

    before = standing()
    done = publish(dict(reversed(OLD.items())), target)
    assert not done.changed
    assert standing() == before


def delete(target):
    (target / "bom.csv").unlink()


def damage(target):
    (target / "bom.csv").write_bytes(b"oLd\n")


def truncate(target):
    (target / "gcode" / "sheet-01.nc").write_bytes(b"")


def drop_manifest(target):
    (target / "manifest.json").unlink()


def break_manifest(target):
    (target / "manifest.json").write_text('{"files": {"bom.csv": 3}')


def add(target):
    (target / "sheets" / "mine.svg").write_bytes(b"mine")


def link(target):
    (target / "bom.csv").unlink()
    (target / "bom.csv").symlink_to(target.parent.parent / "secret")


@pytest.mark.parametrize("spoil", [delete, damage, truncate, drop_manifest, break_manifest, add, link])
def test_a_package_that_was_touched_is_noticed_and_put_right(target, spoil):
    stamp = publish(OLD, target).stamp
    (target.parent.parent / "secret").write_bytes(b"old\n")
    spoil(target)
    assert not verify(target)
    assert stamp_of(target) is None
    done = publish(OLD, target)
    assert done.changed
    assert done.stamp == stamp
    assert holds(target, OLD)
    assert (target.parent.parent / "secret").read_bytes() == b"old\n"


def test_what_somebody_edited_or_added_is_kept_beside_the_package(target):
    publish(OLD, target)
    (target / "bom.csv").write_bytes(b"with my notes\n")
    add(target)
    done = publish(NEW, target)
    assert done.kept == target.with_name("demo.edited-1")
    assert content(done.kept) == {"bom.csv": b"with my notes\n", "sheets/mine.svg": b"mine"}
    assert holds(target, NEW)
    damage(target)
    assert publish(NEW, target).kept == target.with_name("demo.edited-2")
    assert neighbours(target) == ["demo", "demo.edited-1", "demo.edited-2"]


def test_somebody_elses_folder_is_refused(target):
    target.mkdir(parents=True)
    (target / "letters.txt").write_text("mine")
    with pytest.raises(PublishError, match=r"no package of Kerfwave \(it holds 'letters.txt'\)"):
        publish(OLD, target)
    assert content(target) == {"letters.txt": b"mine"}
    assert neighbours(target) == ["demo"]


def test_an_empty_folder_may_be_filled(target):
    target.mkdir(parents=True)
    publish(OLD, target)
    assert holds(target, OLD)


def test_a_link_or_a_file_in_the_place_is_refused(target, tmp_path):
    elsewhere = tmp_path / "elsewhere"
    publish(OLD, elsewhere)
    target.parent.mkdir()
    target.symlink_to(elsewhere)
    with pytest.raises(PublishError, match="is a link to another place"):
        publish(NEW, target)
    assert holds(elsewhere, OLD)
    assert not verify(target)
    target.unlink()
    target.symlink_to(tmp_path / "nowhere")
    with pytest.raises(PublishError, match="is a link to another place"):
        publish(NEW, target)
    assert not (tmp_path / "nowhere").exists()
    target.unlink()
    target.write_text("a file")
    with pytest.raises(PublishError, match="is a file"):
        publish(NEW, target)
    assert target.read_text() == "a file"


def test_links_in_our_own_places_are_not_followed(target, tmp_path):
    elsewhere = tmp_path / "elsewhere"
    publish(OLD, elsewhere)
    publish(OLD, target)
    for name in (".demo.incoming", ".demo.outgoing"):
        target.with_name(name).symlink_to(elsewhere)
    (target / "more").symlink_to(elsewhere)
    publish(NEW, target)
    assert holds(target, NEW)
    assert holds(elsewhere, OLD)
    target.with_name(".demo.lock").symlink_to(tmp_path / "lock")
    with pytest.raises(PublishError):
        publish(OLD, target)
    assert not (tmp_path / "lock").exists()


BAD_NAMES = (
    "", "/etc/x", "../x", "a/../b", "a//b", "./a", "a/", "a b", "a\nb", "a\x00", "ä", "a\\b", "C:x", "-x", ".x", "x.",
    "con.txt", "sheets/NUL", "manifest.json", "MANIFEST.json", "a/b/c/d/e", "x" * 101,
)  # fmt: skip


@pytest.mark.parametrize("name", BAD_NAMES)
def test_a_name_that_could_leave_the_package_or_means_trouble_somewhere_is_refused(tmp_path, name):
    with pytest.raises(ValueError, match=r"name|manifest"):
        publish({name: b""}, tmp_path / "demo")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("names", [("a", "A"), ("a", "a/b"), ("a/x", "A/y"), ("A", "a/b")])
def test_two_names_that_are_one_on_some_systems_are_refused(tmp_path, names):
    with pytest.raises(ValueError, match="are one on some systems"):
        publish(dict.fromkeys(names, b""), tmp_path / "demo")


# Faults at every step.

SAID = {errno.ENOSPC: "the disk is full", errno.EACCES: "no permission", errno.EIO: "could not write"}


def steps_of(monkeypatch, fail):
    """Count the steps that touch the disk; `fail(number)` may raise before any of them. Return the counter."""
    count = [0]
    monkeypatch.setattr(os, "fsync", lambda handle: None)  # the real thing takes its time and changes nothing here

    def counted(plain):
        def step(*args, **kwargs):
            count[0] += 1
            fail(count[0] - 1)
            return plain(*args, **kwargs)

        return step

    for owner, name in (
        (Path, "rename"),
        (Path, "mkdir"),
        (os, "fsync"),
        (module, "exchange"),
        (module.shutil, "copy2"),
    ):
        monkeypatch.setattr(owner, name, counted(getattr(owner, name)))
    plain_open = Path.open
    writing = counted(plain_open)
    monkeypatch.setattr(
        Path, "open", lambda self, mode="r", *a, **k: (writing if "x" in mode else plain_open)(self, mode, *a, **k)
    )
    return count


def count_steps(target, monkeypatch):
    with monkeypatch.context() as patch:
        count = steps_of(patch, lambda number: None)
        publish(NEW, target)
    publish(OLD, target)
    return count[0]


@pytest.mark.parametrize(
    ("number", "edited"), [(errno.ENOSPC, True), (errno.ENOSPC, False), (errno.EACCES, False), (errno.EIO, False)]
)
def test_an_error_at_any_step_leaves_the_old_package(target, monkeypatch, number, edited):
    publish(OLD, target)
    total = count_steps(target, monkeypatch)
    assert total > 10
    refused = 0
    for step in range(total + 3 * edited):
        if edited:
            (target / "bom.csv").write_bytes(b"edited\n")
        before = content(target)

        def fail(count, step=step):
            if count == step:
                raise OSError(number, os.strerror(number), "some/place")

        with monkeypatch.context() as patch:
            steps_of(patch, fail)
            try:
                publish(NEW, target)
            except PublishError as error:
                refused += 1
                assert SAID[number] in str(error)
        assert content(target) == before or holds(target, NEW)
        assert [n for n in neighbours(target) if not n.startswith("demo")] == []
        publish(OLD, target)
        assert holds(target, OLD)
    assert refused >= total - 8  # a folder that cannot be synced is no reason to give up on every system


PROCESS = """
import sys
from pathlib import Path
from kerfwave.engine import publish
for number in range(int(sys.argv[3])):
    files = {f"sheets/sheet-{i:02}.svg": f"{sys.argv[2]} {number} {i}".encode() for i in range(12)}
    publish(files, Path(sys.argv[1]))
    print(number, flush=True)
"""


def start(target, word, times):
    command = [sys.executable, "-c", PROCESS, str(target), word, str(times)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the swap takes two steps and `recover` mends it")
def test_a_process_that_is_really_killed_leaves_a_whole_package_behind(tmp_path):
    target = tmp_path / "out" / "demo"
    for delay in (0.0, 0.003, 0.007, 0.011, 0.017):
        process = start(target, "one", 10_000)
        process.stdout.readline()
        time.sleep(delay)
        process.send_signal(signal.SIGKILL)
        process.communicate()
        assert verify(target)  # with no recovery at all
    publish(OLD, target)
    assert neighbours(target) == ["demo"]


def test_two_processes_at_one_target_do_not_mix(tmp_path):
    target = tmp_path / "out" / "demo"
    processes = [start(target, word, 5) for word in ("one", "two")]
    told = [process.communicate() for process in processes]
    assert told == [("0\n1\n2\n3\n4\n", "")] * 2
    assert verify(target)
    words = {raw.split()[0] for name, raw in content(target).items() if name != "manifest.json"}
    assert len(words) == 1


def test_who_has_to_wait_is_told_once(tmp_path):
    from kerfwave.engine.lock import locked

    path = tmp_path / "lock"
    told = []
    with locked(path):
        code = (
            "import sys; from pathlib import Path; from kerfwave.engine.lock import locked\n"
            "with locked(Path(sys.argv[1]), lambda: print('waiting', flush=True)): print('in', flush=True)"
        )
        waiter = subprocess.Popen([sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True)
        told.append(waiter.stdout.readline())
        time.sleep(0.12)
    told += waiter.communicate()[0].splitlines(keepends=True)
    assert told == ["waiting\n", "in\n"]
    assert not path.exists()


def test_no_clock_is_asked(target, monkeypatch):
    publish(OLD, target)
    for file in (target, *target.rglob("*")):
        os.utime(file, (0, 0))
    stamp = stamp_of(target)
    assert stamp is not None
    assert not publish(OLD, target).changed


def test_names_in_any_script(tmp_path):
    target = tmp_path / "Hörplatz 木の声"
    publish(OLD, target)
    assert holds(target, OLD)
