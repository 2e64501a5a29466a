"""The cache under attack: whatever happens to it, a build gives the same values as without it."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from kerfwave.engine import Store, build, history

toy_module = sys.modules["kerfwave_toy"]
Root, Inner, Number = toy_module.Root, toy_module.Inner, toy_module.Number


def entries(folder, *kinds):
    return sorted(path for kind in kinds or ("objects", "traces", "records") for path in (folder / kind).iterdir())


def snapshot(folder):
    return {path.relative_to(folder): path.read_bytes() for path in entries(folder, "objects", "traces")}


def spoiled(raw):
    """Yield the content damaged in many ways."""
    for index in sorted({0, len(raw) // 3, len(raw) // 2, len(raw) - 1}):
        yield raw[:index] + bytes([raw[index] ^ 1]) + raw[index + 1 :]
        yield raw[:index]
    yield raw + b" "
    yield b"[]"
    yield b'{"format":"kerfwave-cache-1"}'
    yield b"[" * 5000


def test_any_damage_to_any_entry_is_noticed_and_made_good(toy):
    fresh = dict(toy.build(Root(7.0)).results)
    whole = snapshot(toy.folder)
    for path in entries(toy.folder):
        good = path.read_bytes()
        for bad in spoiled(good):
            path.write_bytes(bad)
            outcome = toy.build(Root(7.0))
            assert dict(outcome.results) == fresh
            if not path.is_file() or path.read_bytes() != good:
                # An object that nobody had to read may stay damaged until somebody does; a trace may not.
                assert path.parent.name in ("objects", "records")
            path.write_bytes(good)
    assert snapshot(toy.folder) == whole


def test_a_damaged_object_is_told_and_made_again_with_the_same_bytes(toy):
    first = toy.build(Root(7.0))
    path = toy.folder / "objects" / f"{first.results.digest('join')}.json"
    good = path.read_bytes()
    path.write_bytes(good[:-1])
    outcome = toy.build(Root(7.0))
    assert outcome.ran == ["join"]
    assert outcome.notes == [f"cache entry objects/{path.name[:12]}... is damaged and will be made again"]
    assert outcome.words["join"] == "steady"
    assert [reason.kind for event in outcome.results.events for reason in event.reasons if event.word == "steady"] == [
        "lost"
    ]
    assert path.read_bytes() == good


def test_a_lost_value_deep_in_the_graph_is_made_again_when_it_is_needed(toy):
    toy.build(Root(7.0))
    (grow,) = [path for path in entries(toy.folder, "objects") if b"halves" in path.read_bytes()]
    grow.unlink()
    assert toy.build(Root(7.0)).ran == []  # nobody needs it
    for path in entries(toy.folder, "traces"):
        if json.loads(path.read_bytes())["body"]["stage"] == "left":
            path.unlink()
    outcome = toy.build(Root(7.0))
    assert outcome.ran == ["grow", "left"]
    assert grow.is_file()


def test_all_objects_lost_at_once(toy):
    fresh = dict(toy.build(Root(7.0)).results)
    for path in entries(toy.folder, "objects"):
        path.write_bytes(b"")
    outcome = toy.build(Root(7.0))
    assert dict(outcome.results) == fresh
    assert len(outcome.ran) == 5


def test_entries_under_a_wrong_name_are_not_believed(toy):
    toy.build(Root(7.0))
    toy.build(Root(9.0))
    for kind in ("objects", "traces", "records"):
        paths = entries(toy.folder, kind)
        contents = [path.read_bytes() for path in paths]
        for path, content in zip(paths, contents[1:] + contents[:1], strict=True):
            path.write_bytes(content)
    assert toy.build(Root(7.0)).results["join"] == Number(6.5)


def test_entries_of_another_version_are_a_miss_without_fuss(toy):
    toy.build(Root(7.0))
    for path in entries(toy.folder, "traces", "records"):
        path.write_bytes(path.read_bytes().replace(b"kerfwave-cache-1", b"kerfwave-cache-0"))
    outcome = toy.build(Root(7.0))
    assert len(outcome.ran) == 5
    assert outcome.notes == []


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes in folders")
def test_odd_things_in_the_cache_are_no_entries(toy):
    first = toy.build(Root(7.0))
    path = toy.folder / "objects" / f"{first.results.digest('join')}.json"
    path.unlink()
    os.mkfifo(path)  # reading it would wait for ever
    assert toy.build(Root(7.0)).ran == ["join"]
    path.unlink(missing_ok=True)
    path.mkdir()
    assert toy.build(Root(7.0)).results["join"] == Number(6.5)


def test_a_cache_that_is_a_link_is_not_used(toy, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    toy.folder.symlink_to(tmp_path / "elsewhere")
    outcome = toy.build(Root(7.0))
    assert len(outcome.ran) == 5
    assert "a link to another place" in outcome.notes[0]
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_cache_that_cannot_be_made_is_told_once(tmp_path, toy):
    (tmp_path / "file").write_text("")
    outcome = toy.build(Root(7.0), store=Store(tmp_path / "file" / "cache"))
    assert outcome.results["join"] == Number(6.5)
    assert len(outcome.notes) == 1
    assert "there can be no cache in" in outcome.notes[0]


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES])
def test_a_disk_that_fills_up_at_any_write_only_costs_the_cache(toy, monkeypatch, number):
    writes = [0]
    plain = Path.write_bytes

    def write(path, data):
        writes[0] -= 1
        if writes[0] < 0:
            plain(path, data[: len(data) // 2])  # some of it may have got through
            raise OSError(number, os.strerror(number), str(path))
        return plain(path, data)

    monkeypatch.setattr(Path, "write_bytes", write)
    for room in range(0, 14, 2 if number == errno.ENOSPC else 5):
        writes[0] = room
        outcome = toy.build(Root(7.0 + room), store=Store(toy.folder))
        assert outcome.results["join"].value >= 5
        assert len(outcome.notes) == (writes[0] < 0)
        assert all(os.strerror(number).lower() in note for note in outcome.notes)
        assert not list(toy.folder.rglob("*.tmp"))
    writes[0] = 1000
    assert toy.build(Root(7.0)).results["join"] == Number(6.5)


def test_a_readable_cache_that_cannot_be_written_still_recalls(toy, monkeypatch):
    toy.build(Root(7.0))

    def no(path, data):
        raise OSError(errno.EROFS, "Read-only file system", str(path))

    monkeypatch.setattr(Path, "write_bytes", no)
    (toy.folder / "README.txt").unlink()
    outcome = toy.build(Root(7.0))
    assert outcome.ran == []
    assert "cannot be written (read-only file system); building without keeping" in outcome.notes[0]


def test_records_take_any_name_and_never_leave_the_folder(tmp_path):
    store = Store(tmp_path / "cache")
    for name in ("../../up", "a/b", "", "\ud800", "x" * 5000, "Ünïcode 木"):
        store.put_record(name, {"name": 1})
        assert store.get_record(name) == {"name": 1}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["cache"]
    assert store.get_record("other") is None
    assert set(store.records("../")) == {"../../up"}


def test_the_cache_explains_itself_and_holds_nothing_but_json(toy):
    toy.build(Root(7.0))
    assert "safe to delete" in (toy.folder / "README.txt").read_text()
    for path in entries(toy.folder):
        json.loads(path.read_bytes())


def test_old_entries_go_and_those_of_the_last_builds_stay(toy, monkeypatch):
    monkeypatch.setattr(history, "MOST_BYTES", 1)
    monkeypatch.setattr(history, "EARLIER_BUILDS", 2)
    toy.build(Root(7.0), label="other")
    for size in (1.0, 2.0, 3.0):
        toy.build(Root(size))
    (toy.folder / "objects" / ".abc.1-1.tmp").write_text("left over by a killed build")
    toy.build(Root(4.0))
    assert not list(toy.folder.rglob("*.tmp"))
    monkeypatch.setattr(history, "MOST_BYTES", 10**9)
    assert toy.build(Root(4.0)).ran == []
    assert toy.build(Root(7.0), label="other").ran == []
    assert "grow" in toy.build(Root(1.0)).ran


PROCESS = """
import importlib.util, sys
from pathlib import Path
spec = importlib.util.spec_from_file_location("kerfwave_toy", sys.argv[1])
toy = importlib.util.module_from_spec(spec); sys.modules["kerfwave_toy"] = toy; spec.loader.exec_module(toy)
from kerfwave.engine import Store, build, history
history.MOST_BYTES = 1000  # so that each tidies up under the other's hands
for size in range(40):
    store = Store(Path(sys.argv[2]))
    results = build(toy.STAGES, {"root": toy.Root(float(size % 7))}, store, want=["join"], label=sys.argv[3])
    print(results["join"].value)
    assert not [note for note in store.notes if "damaged" in note], store.notes
"""


def test_two_processes_share_one_cache(tmp_path):
    toy_file = toy_module.__spec__.origin
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", PROCESS, toy_file, str(tmp_path / "cache"), label],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for label in ("one", "two")
    ]
    told = [process.communicate(timeout=60) for process in processes]
    expected = [
        str(build(toy_module.STAGES, {"root": Root(float(size % 7))}, Store(None), want=["join"])["join"].value)
        for size in range(40)
    ]
    for process, (out, err) in zip(processes, told, strict=True):
        assert process.returncode == 0, err
        assert out.split() == expected
