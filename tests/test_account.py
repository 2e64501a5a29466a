"""Nothing is done again while everything a package was made from is the same to the byte, and only then."""

import shutil
from pathlib import Path

import pytest

from conftest import DEMO
from kerfwave import account, jobs
from kerfwave.cli import main
from kerfwave.jobs import _load
from test_layers import loaded_by


@pytest.fixture
def shelf(tmp_path, monkeypatch):
    """A spec with its shelf in a folder of its own, two levels up from nothing."""
    shutil.copytree(DEMO.parent, tmp_path / "home/specs")
    (tmp_path / "home/specs/mine").mkdir()
    shutil.move(tmp_path / "home/specs" / DEMO.name, tmp_path / "home/specs/mine" / DEMO.name)
    monkeypatch.chdir(tmp_path / "home")
    return tmp_path / "home"


def spec() -> Path:
    return Path("specs/mine") / DEMO.name


def record_of(job):
    return account.account_of(job.path, job.sha256, job.loaded.warnings).record


def test_the_same_files_stand(shelf):
    record = record_of(_load(spec()))
    found = account.standing_account(spec(), record)
    assert found is not None and found.record == record
    assert any(name.endswith(".measured.yaml") for name in record["files"])
    assert {Path(name).parent.name for name in record["files"]} >= {"mine", "drivers", "stock", "machines", "recipes"}


def changed_comment():
    spec().write_text(spec().read_text("utf-8") + "# a remark\n", "utf-8")


def changed_driver():
    file = next(Path("specs/drivers").glob("*wideband*.yaml"))
    file.write_text(file.read_text("utf-8") + "\n", "utf-8")


def one_recipe_more():
    file = next(Path("specs/recipes").iterdir())
    shutil.copy(file, file.with_name("zz.yaml"))


def one_recipe_less():
    next(Path("specs/recipes").glob("*.yaml")).unlink()


def a_nearer_shelf():
    shutil.copytree("specs/drivers", "specs/mine/drivers")


def something_measured():
    spec().with_name(f"{DEMO.stem}.measured.yaml").write_text("measured: {}\n", "utf-8")


def a_file_that_cannot_be_read():
    file = next(Path("specs/stock").glob("*.yaml"))
    file.unlink()
    file.mkdir()


@pytest.mark.parametrize(
    "change",
    [
        changed_comment,
        changed_driver,
        one_recipe_more,
        one_recipe_less,
        a_nearer_shelf,
        something_measured,
        a_file_that_cannot_be_read,
    ],
)
def test_and_fall_with_any_change(shelf, change):
    record = record_of(_load(spec()))
    change()
    assert account.standing_account(spec(), record) is None


def test_another_program_makes_another_account(shelf, monkeypatch):
    record = record_of(_load(spec()))
    monkeypatch.setattr(account, "_program", lambda: "another")
    assert account.standing_account(spec(), record) is None


def test_so_does_another_schema(shelf, monkeypatch):
    record = record_of(_load(spec()))
    account._program.cache_clear()
    monkeypatch.setattr(account, "schema_text", lambda name: "another")
    assert account.standing_account(spec(), record) is None
    account._program.cache_clear()


@pytest.mark.parametrize(
    "record", [{}, {"account": "x"}, {"account": "x", "files": 3, "warnings": [{"no": "finding"}]}]
)
def test_a_record_from_another_time_is_no_account(record):
    assert account.standing_account(DEMO, record) is None


def test_a_build_with_nothing_to_do_reads_no_yaml(demo_package):
    argv = ["build", str(DEMO), "--out", str(demo_package.parent)]
    assert main(argv) == 0
    loaded = loaded_by(f"from kerfwave.cli import main; assert main({argv!r}) == 0")
    assert not loaded & {"yaml", "jsonschema"}


def test_warnings_are_told_again(shelf, capsys, monkeypatch):
    finding = account.Finding("K401", "warning", str(spec()), 3, 1, "this is doubtful")
    job = _load(spec())
    told = account.account_of(spec(), job.sha256, [finding])
    record = told.record
    assert account.standing_account(spec(), record) == told and told.warnings == (finding,)
    Path("out/.cache").mkdir(parents=True)
    monkeypatch.setattr(
        jobs.Store, "get_record", lambda store, name: record | {"stamp": "x", "failed": [], "outcome": "proceed"}
    )
    monkeypatch.setattr(jobs, "is_current", lambda target, stamp: stamp == "x")
    assert main(["build", str(spec())]) == 0
    said = capsys.readouterr()
    assert "this is doubtful" in said.err and said.out.strip() == f"out/{DEMO.stem}"
