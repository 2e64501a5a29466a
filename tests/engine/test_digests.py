from __future__ import annotations

import importlib.metadata
import sys

import pytest

from kerfwave.engine import GraphError, Walker, installation
from kerfwave.engine.digests import read_imports, version_of

FILES = {
    "__init__.py": "VERSION = 1\n",
    "stage.py": "from kwpkg import near\nfrom kwpkg.room import inner\n",
    "near.py": "from .room.deep import thing\nimport json\n",
    "far.py": "1\n",
    "room/__init__.py": "from kwpkg.room.shown import shown\n",
    "room/inner.py": "def f():\n    import numpy\n    from . import late\n",
    "room/late.py": "1\n",
    "room/deep.py": "thing = 1\n",
    "room/shown.py": "shown = 1\n",
    "room/words.txt": "some words\n",
    "room/templates/page.html": "<p>\n",
    "lazy/__init__.py": "def __getattr__(name):\n    ...\n",
    "lazy/part.py": "1\n",
    "uses_lazy.py": "from kwpkg.lazy import Part\n",
    "computed.py": "import importlib\n\ndef f(name):\n    return importlib.import_module(name)\n",
    "literal.py": "from importlib import import_module\n\ndef f():\n    return import_module('kwpkg.far')\n",
    "star.py": "from kwpkg.room import *\n",
    "guarded.py": "try:\n    from kwpkg import absent\nexcept ImportError:\n    pass\n",
    "package_name.py": "from kwpkg.room import shown_thing\n",
}


@pytest.fixture
def package(tmp_path, monkeypatch):
    root = tmp_path / "kwpkg"
    for name, text in FILES.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text)
    monkeypatch.syspath_prepend(str(tmp_path))
    yield root
    assert "kwpkg" not in sys.modules  # reading imports never runs them


def parts(*modules):
    return {name for name in Walker().code(modules).parts if "kwpkg" in name}


def test_the_walk_finds_what_is_imported_and_nothing_else(package):
    near = {
        "kwpkg",
        "kwpkg.stage",
        "kwpkg.near",
        "kwpkg.room",
        "kwpkg.room.inner",
        "kwpkg.room.late",
        "kwpkg.room.deep",
    }
    assert parts("kwpkg.stage") == near | {"kwpkg.room/words.txt", "kwpkg.room/templates/page.html"}


@pytest.mark.parametrize(
    ("module", "reached"),
    [
        ("uses_lazy", "kwpkg.lazy.part"),
        ("computed", "kwpkg.room.late"),
        ("literal", "kwpkg.far"),
        ("star", "kwpkg.room.shown"),
        ("package_name", "kwpkg.room.shown"),
    ],
)
def test_where_reading_cannot_tell_more_counts_and_not_less(package, module, reached):
    assert reached in parts(f"kwpkg.{module}")


def test_an_import_of_something_absent_counts_for_nothing(package):
    assert parts("kwpkg.guarded") == {"kwpkg", "kwpkg.guarded"}


@pytest.mark.parametrize("file", [name for name in FILES if name.startswith(("room/", "near", "stage", "__init__"))])
def test_the_digest_changes_with_each_file_that_counts(package, file):
    before = Walker().code(["kwpkg.stage"]).digest
    counted = file != "room/shown.py"
    (package / file).write_text(FILES[file] + "# changed\n")
    assert (Walker().code(["kwpkg.stage"]).digest != before) == counted


@pytest.mark.parametrize("file", ["far.py", "star.py", "lazy/part.py", "room/__pycache__/x.pyc", "room/.hidden"])
def test_and_with_no_other(package, file):
    before = Walker().code(["kwpkg.stage"]).digest
    (package / file).parent.mkdir(exist_ok=True)
    (package / file).write_text("changed")
    assert Walker().code(["kwpkg.stage"]).digest == before


@pytest.mark.parametrize("file", ["far.py", "lazy/part.py", "room/.hidden", "a new file"])
def test_an_installation_is_told_from_one_with_any_other_file(package, file):
    before = installation(package)
    assert installation(package) == before
    (package / "room/__pycache__").mkdir(exist_ok=True)
    (package / "room/__pycache__/x.pyc").write_text("compiled")
    assert installation(package) == before
    (package / file).parent.mkdir(exist_ok=True)
    (package / file).write_text("changed")
    assert installation(package) != before


def test_and_from_one_with_other_libraries(package, tmp_path, monkeypatch):
    before = installation(package)
    monkeypatch.syspath_prepend(tmp_path / "more")
    (tmp_path / "more/numbers-1.2.dist-info").mkdir(parents=True)
    assert installation(package) != before


def test_the_place_of_the_source_does_not_matter(package, tmp_path, monkeypatch):
    before = Walker().code(["kwpkg.stage"])
    package.rename(tmp_path / "aside")
    (tmp_path / "other").mkdir()
    (tmp_path / "aside").rename(tmp_path / "other" / "kwpkg")
    monkeypatch.syspath_prepend(str(tmp_path / "other"))
    assert Walker().code(["kwpkg.stage"]) == before


def test_a_remembered_import_list_gives_the_same_digest(package):
    walker = Walker()
    expected = walker.code(["kwpkg.stage"])
    kept = walker.worth_keeping()
    assert Walker(kept).code(["kwpkg.stage"]) == expected
    assert walker.worth_keeping(most=0) == kept  # all of it was used
    kept["0" * 64] = []
    second = Walker(kept)
    second.code(["kwpkg.stage"])
    assert "0" * 64 not in second.worth_keeping(most=3)


def test_tools_count_by_version_where_they_are_used(package):
    assert Walker().code(["kwpkg.stage"]).parts["numpy (installed)"] == importlib.metadata.version("numpy")
    assert "numpy (installed)" not in Walker().code(["kwpkg.near"]).parts
    assert Walker().code(["kwpkg.near"]).parts["python"].endswith(f"{sys.version_info[0]}.{sys.version_info[1]}")


def test_versions_are_those_that_the_standard_library_reads():
    for package, distribution in {"numpy": "numpy", "yaml": "PyYAML", "shapely": "shapely", "jinja2": "Jinja2"}.items():
        assert version_of(package) == importlib.metadata.version(distribution)
    assert version_of("no_such_package") is None


def test_a_module_without_source_is_an_error(package):
    with pytest.raises(GraphError, match=r"kwpkg.nowhere is not to be found"):
        Walker().code(["kwpkg.nowhere"])


def test_source_that_does_not_parse_counts_its_whole_package():
    assert read_imports(b"def") == [(1, "", ["*"])]


def test_the_walk_over_the_engine_itself_stays_within_it():
    found = Walker().code(["kerfwave.engine.run"]).parts
    assert "kerfwave.engine.codec" in found
    assert not [name for name in found if name.startswith("kerfwave.") and not name.startswith("kerfwave.engine")]
