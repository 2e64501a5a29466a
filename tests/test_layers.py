"""Who may import whom, and what no module may use: read off the source, so a new module is held to it at once."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import kerfwave
from conftest import DEMO

PACKAGE = Path(kerfwave.__file__).parent
MODULES = {
    ".".join(("kerfwave", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__"): path
    for path in sorted(PACKAGE.rglob("*.py"))
}

# What each room may import of the project, besides itself. `stages` wires trades and writers into the engine.
TRADES = ("acoustics", "body", "nest", "cut", "safety")
ROOMS = {
    "model": (),
    "numfmt": (),
    "filenames": (),
    "streams": (),
    "findings": ("filenames",),
    "engine": (),
    **dict.fromkeys(TRADES, ("model", "numfmt")),
    "writers": ("model", "numfmt"),
    "spec": (
        "model",
        "numfmt",
        "filenames",
        "findings",
        "acoustics",
        "measure.columns",
    ),  # without numpy: a test below sees to that
    "compare": ("numfmt", "engine", "writers"),
    "measure": ("model", "numfmt", "acoustics"),
    "learn": ("model", "numfmt", "findings", "spec", "acoustics", "measure", "writers"),
    "stages": ("model", "numfmt", "engine", "writers", "measure", *TRADES),
    "cli": (
        "streams",
        "findings",
        "engine",
        "jobs",
        "check_jobs",
        "completion",
        "sweep_jobs",
        "fit_jobs",
        "promise_jobs",
        "learn_jobs",
        "compare_jobs",
        "cut_jobs",
        "explore_jobs",
        "parallel_jobs",
    ),
    "account": ("engine", "findings", "spec"),
    "jobs": (
        "cli",
        "account",
        "engine",
        "filenames",
        "findings",
        "model",
        "spec",
        "stages",
        "compare",
        "compare_jobs",
        "learn",
    ),
    "compare_jobs": ("cli", "jobs", "engine", "findings", "compare", "stages"),
    "parallel_jobs": ("cli", "jobs", "engine"),
    "explore": ("numfmt", "spec", "writers"),
    "explore_jobs": (
        "cli",
        "jobs",
        "parallel_jobs",
        "file_jobs",
        "engine",
        "explore",
        "filenames",
        "findings",
        "stages",
        "writers",
    ),
    "check_jobs": ("cli", "jobs", "engine", "findings"),
    "completion": (),
    "file_jobs": ("cli", "engine", "filenames", "findings", "measure", "learn", "writers"),
    "sweep_files": ("engine", "findings", "measure", "numfmt", "writers"),
    "sweep_jobs": (
        "cli",
        "compare",
        "engine",
        "file_jobs",
        "findings",
        "measure",
        "numfmt",
        "spec",
        "sweep_files",
        "writers",
    ),
    "cut_jobs": (
        "cli",
        "cut",
        "engine",
        "file_jobs",
        "filenames",
        "findings",
        "jobs",
        "model",
        "numfmt",
        "spec",
        "stages",
        "writers",
    ),
    "fit_jobs": ("cli", "file_jobs", "filenames", "findings", "acoustics", "measure", "learn"),
    "promise_jobs": ("cli", "jobs", "file_jobs", "findings", "measure", "learn"),
    "learn_jobs": ("cli", "file_jobs", "filenames", "findings", "compare", "learn"),
    "__main__": ("cli",),
}
HEAVY = ("numpy", "scipy", "shapely", "jinja2", "jsonschema", "svgwrite")


def imports(path: Path) -> Iterator[tuple[str, int]]:
    """Yield (absolute dotted name, line) of everything a file imports, wherever the statement stands."""
    for node in ast.walk(ast.parse(path.read_bytes())):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: imports are absolute"
            yield from ((f"{node.module}.{alias.name}", node.lineno) for alias in node.names)


def room(module: str) -> str:
    """Return "acoustics" for "kerfwave.acoustics.duct", and "" for the package itself."""
    return module.partition(".")[2].partition(".")[0]


def is_or_below(name: str, package: str) -> bool:
    return name == package or name.startswith(f"{package}.")


def test_every_module_has_a_room():
    assert {room(name) for name in MODULES} - {""} == set(ROOMS)


def test_imports_point_one_way():
    def is_fault(module: str, name: str) -> bool:
        allowed = [f"kerfwave.{one}" for one in (room(module), *ROOMS.get(room(module), ()))]
        ours = is_or_below(name, "kerfwave") and name not in ("kerfwave", "kerfwave.__version__")
        return ours and not any(is_or_below(name, one) for one in allowed)

    faults = [
        f"{path}:{line}: {name}"
        for module, path in MODULES.items()
        for name, line in imports(path)
        if is_fault(module, name)
    ]
    assert faults == []


# A package depends on its spec and nothing else: no clock, no network, no other program, nothing that is not text.
BANNED = (
    *("datetime", "calendar", "socket", "ssl", "http", "urllib.request", "asyncio", "subprocess", "secrets", "uuid"),
    *("pickle", "marshal", "shelve", "getpass", "platform", "locale", "multiprocessing", "threading"),
)
SPARED = {
    # A spec at a revision is got by asking git; no build goes that way.
    ("kerfwave.compare.revision", "subprocess"),
    # The second process gets bytes and gives bytes, and is watched by a thread.
    ("kerfwave.engine.aside", "multiprocessing"),
    ("kerfwave.engine.aside", "threading"),
}
BANNED_CALLS = ("time", "time_ns", "monotonic", "gmtime", "localtime", "hash", "eval", "exec")


def calls(path: Path) -> Iterator[tuple[ast.Call, str, str]]:
    """Yield (node, owner, name) of every call: owner "numpy.random" and name "rand" for ``np.random.rand()``."""
    for node in ast.walk(ast.parse(path.read_bytes())):
        if isinstance(node, ast.Call):
            owner, _, name = ast.unparse(node.func).rpartition(".")
            yield node, owner.replace("np.", "numpy.", 1), name


def test_nothing_depends_on_clock_or_chance():
    faults = []
    for module, path in MODULES.items():
        for name, line in imports(path):
            if any(is_or_below(name, banned) and (module, banned) not in SPARED for banned in BANNED):
                faults.append(f"{path}:{line}: {name}")
            if is_or_below(name, "time") and room(module) != "engine":  # it tells how long a stage took
                faults.append(f"{path}:{line}: {name}")
        whole = {name for name, _ in imports(path)}  # a local generator may be called random too
        for node, owner, name in calls(path):
            unseeded = name in ("Random", "default_rng") and not node.args
            shared = (owner == "random" and "random" in whole and name != "Random") or (
                owner == "numpy.random" and name != "default_rng"
            )
            clock = owner in ("", "time") and name in BANNED_CALLS
            if unseeded or shared or clock:
                faults.append(f"{path}:{node.lineno}: {owner}.{name}")
    assert faults == []


def test_trades_touch_no_file():
    mine = {module: path for module, path in MODULES.items() if room(module) in (*TRADES, "model", "numfmt")}
    outside = ("os", "io", "pathlib", "sys", "shutil", "tempfile", "yaml")
    faults = [
        f"{p}:{line}: {name}" for p in mine.values() for name, line in imports(p) if name.split(".")[0] in outside
    ]
    faults += [
        f"{path}:{node.lineno}: {name}"
        for path in mine.values()
        for node, owner, name in calls(path)
        if not owner and name in ("open", "print", "input")
    ]
    assert faults == []


def test_the_rules_notice_a_fault(tmp_path):
    bad = tmp_path / "bad.py"
    bad.write_text(
        "import numpy as np\nimport os.path\nfrom time import sleep\nnp.random.rand(3)\nopen('x')\n", "utf-8"
    )
    assert list(imports(bad)) == [("numpy", 1), ("os.path", 2), ("time.sleep", 3)]
    assert [(owner, name) for _, owner, name in calls(bad)] == [("numpy.random", "rand"), ("", "open")]


@pytest.mark.parametrize(("library", "owner"), [("yaml", "spec"), ("jinja2", "writers"), ("svgwrite", "writers")])
def test_one_room_owns_a_library(library, owner):
    users = {
        room(module) for module, path in MODULES.items() for name, _ in imports(path) if is_or_below(name, library)
    }
    assert users == {owner}


def loaded_by(code: str) -> set[str]:
    """Return the top-level names that a fresh interpreter has loaded after running `code`."""
    tail = "\nimport sys; print('\\n'.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code + tail], capture_output=True, text=True, check=True)
    return {line.partition(".")[0] for line in done.stdout.splitlines()}


@pytest.mark.parametrize("module", ["kerfwave.cli", "kerfwave.jobs", "kerfwave.engine", "kerfwave.spec.loading"])
def test_nothing_heavy_is_imported_at_first(module):
    assert not loaded_by(f"import {module}") & set(HEAVY)


def test_a_build_with_nothing_to_do_imports_nothing_heavy(demo_package):
    argv = ["build", str(DEMO), "--out", str(demo_package.parent)]
    loaded = loaded_by(f"from kerfwave.cli import main; assert main({argv!r}) == 0")
    assert not loaded & set(HEAVY)
