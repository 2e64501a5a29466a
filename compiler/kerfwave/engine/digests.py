"""What program made a value: a digest over the source of every module that a stage's function can reach.

The modules are found by reading their import statements, never by importing them, so that a build with nothing to do
stays quick. Where reading cannot tell (a package that loads its parts by name, an import of a computed name), the whole
package counts: a stage may run once too often, never once too seldom. Files beside the modules that are no Python
(templates, tables) count as well. Other people's packages count by their version, and so does Python by its minor one.
"""

from __future__ import annotations

import ast
import hashlib
import importlib.machinery
import os
import re
import sys
from collections.abc import Iterable, MutableMapping
from dataclasses import dataclass
from pathlib import Path

from kerfwave.engine.errors import GraphError

# What one source file imports, as plain data that can be remembered: (level, module, names), level 0 and no names for
# a plain import. ANYTHING among the names stands for "cannot tell".
Imports = list[tuple[int, str, list[str]]]
ANYTHING = "*"

_DISTRIBUTIONS = {"yaml": "pyyaml", "PIL": "pillow", "skimage": "scikit_image", "sklearn": "scikit_learn"}
_METADATA = (".dist-info", ".egg-info")
_NOT_SOURCE = {".pyc", ".pyo", ".pyi"}


@dataclass(frozen=True, slots=True)
class CodeDigest:
    """The program behind one stage: `parts` maps module, data file or tool to what it was (a hash, a version)."""

    digest: str
    parts: dict[str, str]


class Walker:
    """Follows imports within one process, reading each file once.

    Parameters
    ----------
    memo
        Import lists by the hash of the source they were read from. Reading a file is quick and parsing it is not, so
        a caller may keep this between runs; it can only save time, never change a digest.
    """

    def __init__(self, memo: MutableMapping[str, Imports] | None = None) -> None:
        self.memo: MutableMapping[str, Imports] = {} if memo is None else memo
        self._places: dict[str, Path | None] = {}
        self._reach: dict[str, tuple[frozenset[str], frozenset[str]]] = {}
        self._hashes: dict[Path, str] = {}
        self._listings: dict[Path, list[os.DirEntry[str]]] = {}
        self._name_sets: dict[Path, set[str]] = {}

    def code(self, modules: Iterable[str]) -> CodeDigest:
        """Return the digest of `modules` and of all they import from their own top-level package.

        Raises
        ------
        GraphError
            if a module has no source to read.
        """
        waiting, seen, tools = list(modules), set[str](), set[str]()
        while waiting:
            name = waiting.pop()
            if name in seen:
                continue
            seen.add(name)
            own, foreign = self._imports(name)
            waiting.extend(own)
            tools |= foreign
        return self._digest(seen, tools)

    def worth_keeping(self, most: int = 2000) -> dict[str, Imports]:
        """Return the memo to write away, without what belongs to long-gone source once there is too much of it."""
        if len(self.memo) <= most:
            return dict(self.memo)
        used = set(self._hashes.values())
        return {key: imports for key, imports in self.memo.items() if key in used}

    def _digest(self, modules: set[str], tools: set[str]) -> CodeDigest:
        parts = {"python": f"{sys.implementation.name} {sys.version_info[0]}.{sys.version_info[1]}"}
        for tool in tools:
            version = version_of(tool)
            if version is not None:
                parts[f"{tool} (installed)"] = version
        packages: dict[str, Path] = {}
        for name in modules:
            path = self._place(name)
            assert path is not None
            parts[name] = self._hash(path)[:16]
            # Importing a.b.c runs a and a.b first.
            for parent in _parents(name):
                above = self._place(parent)
                if above is not None:
                    parts[parent] = self._hash(above)[:16]
            if (path.parent / "__init__.py").is_file():
                packages[name if path.name == "__init__.py" else name.rpartition(".")[0]] = path.parent
        for package, folder in packages.items():
            for file, label in self._data_files(folder, package):
                parts[label] = self._hash(file)[:16]
        lines = "".join(f"{name}={parts[name]}\n" for name in sorted(parts))
        return CodeDigest(hashlib.sha256(lines.encode()).hexdigest(), dict(sorted(parts.items())))

    def _imports(self, name: str) -> tuple[frozenset[str], frozenset[str]]:
        """Return (modules of our own, names of other people's packages) that module `name` imports."""
        if name not in self._reach:
            path = self._place(name)
            if path is None:
                raise GraphError(f"the source of module {name} is not to be found, so its code cannot be told apart")
            top = name.partition(".")[0]
            own: set[str] = set()
            foreign: set[str] = set()
            for level, module, names in self._statements(path):
                absolute = _absolute(name, path.name == "__init__.py", level, module)
                if absolute.partition(".")[0] != top:
                    foreign.add(absolute.partition(".")[0])
                elif ANYTHING in names:
                    own.update(self._targets(absolute, []))
                    own.update(self._inside(absolute))
                else:
                    own.update(self._targets(absolute, names))
            foreign -= sys.stdlib_module_names
            own.discard(name)
            self._reach[name] = (frozenset(own), frozenset(foreign))
        return self._reach[name]

    def _targets(self, module: str, names: list[str]) -> set[str]:
        """Return the modules behind ``from module import names`` (or ``import module``, when there are no names)."""
        found = {f"{module}.{name}" for name in names if self._place(f"{module}.{name}") is not None}
        if len(found) < len(names) or not names:
            if self._place(module) is None:
                return found  # guarded import of something that is not there; it cannot run either
            found.add(module)
        return found

    def _statements(self, path: Path) -> Imports:
        source = path.read_bytes()
        key = self._hashes.setdefault(path, hashlib.sha256(source).hexdigest())
        known = self.memo.get(key)
        if known is None:
            known = self.memo[key] = read_imports(source, str(path))
        return known

    def _hash(self, path: Path) -> str:
        if path not in self._hashes:
            self._hashes[path] = hashlib.sha256(path.read_bytes()).hexdigest()
        return self._hashes[path]

    def _place(self, name: str) -> Path | None:
        """Return the source file of module `name`, looked up in the folder of its parent; no import happens."""
        if name not in self._places:
            self._places[name] = self._look_up(name)
        return self._places[name]

    def _look_up(self, name: str) -> Path | None:
        parent, _, last = name.rpartition(".")
        if not parent:
            return _top_level(name)
        above = self._place(parent)
        if above is not None and above.name == "__init__.py":
            names = self._names(above.parent)  # one listing is quicker than many questions
            if last in names and (above.parent / last / "__init__.py").is_file():
                return above.parent / last / "__init__.py"
            return above.parent / f"{last}.py" if f"{last}.py" in names else None
        return _loaded_file(name)  # a test module, or a namespace package: only known once imported

    def _inside(self, package: str) -> list[str]:
        """Return all modules below `package`, if it is one."""
        path = self._place(package)
        if path is None or path.name != "__init__.py":
            return []
        found = []
        for entry in self._listing(path.parent):
            if entry.name.endswith(".py") and entry.name != "__init__.py":
                found.append(f"{package}.{entry.name[:-3]}")
            elif entry.is_dir() and Path(entry.path, "__init__.py").is_file():
                below = f"{package}.{entry.name}"
                found += [below, *self._inside(below)]
        return found

    def _data_files(self, folder: Path, label: str) -> list[tuple[Path, str]]:
        """Return files in `folder` that are no Python, and those in folders below that are no packages."""
        found = []
        for entry in self._listing(folder):
            if entry.is_dir():
                if not Path(entry.path, "__init__.py").is_file():
                    found += self._data_files(Path(entry.path), f"{label}/{entry.name}")
            elif not entry.name.endswith(".py") and Path(entry.name).suffix not in _NOT_SOURCE:
                found.append((Path(entry.path), f"{label}/{entry.name}"))
        return found

    def _names(self, folder: Path) -> set[str]:
        if folder not in self._name_sets:
            self._name_sets[folder] = {entry.name for entry in self._listing(folder)}
        return self._name_sets[folder]

    def _listing(self, folder: Path) -> list[os.DirEntry[str]]:
        if folder not in self._listings:
            with os.scandir(folder) as entries:
                kept = [entry for entry in entries if entry.name != "__pycache__" and not entry.name.startswith(".")]
            self._listings[folder] = sorted(kept, key=lambda entry: entry.name)
        return self._listings[folder]


def read_imports(source: bytes, filename: str = "<source>") -> Imports:
    """Return what the import statements in `source` name, wherever they stand (in functions too).

    A module-level ``__getattr__``, an ``import_module`` of a computed name and source that does not parse mean that
    reading cannot tell: the whole package of the module is named then.
    """
    found: set[tuple[int, str, tuple[str, ...]]] = set()
    try:
        tree = ast.parse(source, filename)
    except (SyntaxError, ValueError):
        return [(1, "", [ANYTHING])]
    if any(isinstance(node, ast.FunctionDef) and node.name == "__getattr__" for node in tree.body):
        found.add((1, "", (ANYTHING,)))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found.update((0, alias.name, ()) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            found.add((node.level, node.module or "", tuple(sorted(alias.name for alias in node.names))))
        elif isinstance(node, ast.Call) and _called(node.func) in ("import_module", "__import__"):
            constant = node.args[0] if node.args else None
            if isinstance(constant, ast.Constant) and isinstance(constant.value, str) and constant.value[:1] != ".":
                found.add((0, constant.value, ()))
            else:
                found.add((1, "", (ANYTHING,)))
    return [(level, module, list(names)) for level, module, names in sorted(found)]


def installation(folder: Path) -> str:
    """Return a digest of every file of a package, of Python's version and of all that is installed beside it.

    For telling that no program has changed at all, where `Walker` tells which stage a change concerns: far coarser,
    and quick enough to be asked first.
    """
    found = hashlib.sha256(sys.version.encode())
    for place in sys.path:
        found.update("".join(f"{name}={version}\n" for name, version in _versions(place).items()).encode())
    for base, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if name != "__pycache__")
        for name in sorted(files):
            path = Path(base, name)
            raw = path.read_bytes()
            found.update(f"{path.relative_to(folder)} {len(raw)}\n".encode("utf-8", "surrogatepass") + raw)
    return found.hexdigest()


def version_of(package: str) -> str | None:
    """Return the installed version of an import package, or None if it is not installed under a like name.

    The names of the folders of metadata tell it; ``importlib.metadata`` would take longer to import than all the rest
    of this module takes to run.
    """
    wanted = _plain(_DISTRIBUTIONS.get(package, package))
    for entry in sys.path:
        version = _versions(entry).get(wanted)
        if version:
            return version
    return None


def _versions(entry: str) -> dict[str, str]:
    if entry not in _installed:
        try:
            found = sorted(path.name for path in Path(entry or ".").iterdir() if path.name.endswith(_METADATA))
        except OSError:
            found = []
        stems = [name.rpartition(".")[0] for name in found]
        _installed[entry] = {_plain(stem.partition("-")[0]): stem.partition("-")[2] for stem in stems}
    return _installed[entry]


_installed: dict[str, dict[str, str]] = {}  # per folder of sys.path; what is installed does not change under a process


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "_", name).lower()


def _called(function: ast.expr) -> str:
    return getattr(function, "attr", getattr(function, "id", ""))


def _parents(name: str) -> list[str]:
    steps = name.split(".")
    return [".".join(steps[:count]) for count in range(1, len(steps))]


def _absolute(importer: str, is_package: bool, level: int, module: str) -> str:
    if level == 0:
        return module
    steps = importer.split(".")
    kept = steps[: len(steps) - level + (1 if is_package else 0)]
    return ".".join([*kept, module] if module else kept)


def _top_level(name: str) -> Path | None:
    loaded = _loaded_file(name)
    if loaded is not None:
        return loaded
    spec = importlib.machinery.PathFinder.find_spec(name)
    return Path(spec.origin) if spec is not None and spec.origin and spec.origin.endswith(".py") else None


def _loaded_file(name: str) -> Path | None:
    file = getattr(sys.modules.get(name), "__file__", None)
    return Path(file) if file and file.endswith(".py") else None
