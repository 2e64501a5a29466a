"""One spec file, and the shelf files it names, into one value; or everything that is wrong with them."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from kerfwave.findings import Finding, SpecError, in_order
from kerfwave.model import spec as model
from kerfwave.spec import build, sense, shape, shelf
from kerfwave.spec.places import Mount, Places
from kerfwave.spec.plan import PlanError
from kerfwave.spec.shelf import sha256_of
from kerfwave.spec.yaml_source import MAX_FINDINGS, KeyPath, Source, read_file

_KINDS = {
    "driver": model.Driver,
    "drive": model.Drive,
    "listening": model.Listening,
    "shaping": model.Shaping,
    "checks": model.Checks,
    "target": model.Target,
    "enclosure": model.Enclosure,
    "stock": model.Stock,
    "machine": model.Machine,
    "room": model.Room,
}
_OPTIONAL = ("drive", "listening", "shaping", "checks")
_SHELVED = ("driver", "stock", "machine")


@dataclass(frozen=True, slots=True)
class LoadedSpec:
    """A spec that may be built from, what is doubtful about it, and where everything stands."""

    spec: model.Spec
    warnings: tuple[Finding, ...]
    files: tuple[Path, ...]  # the spec, then the shelf files, as read
    sha256: tuple[str, ...]  # of each of them
    text: str  # of the spec
    sources: Places

    def locate(self, path: KeyPath) -> tuple[str, int, int, str]:
        """Return (file, line, column, text of the line) of the value at `path`, such as ("driver", "fs_hz").

        A path that nobody wrote (a default) is located at the nearest key above it.
        """
        return self.sources.locate(path)


def load(path: Path) -> LoadedSpec:
    """Read the spec at `path` and the shelf files it names.

    Raises:
        SpecError: with the findings of all files at once, in order of file, line and column.
    """
    reading = _Reading(path)
    reading.spec_file()
    sources = Places(tuple(reading.mounts))
    parts = {key: reading.part(key, sources) for key in _KINDS}
    curve = reading.driver_curve(parts["driver"], sources)
    recipes = {
        index: build.make(model.RecipeEntry, data) for index, data in reading.recipes.items() if data is not None
    }
    known = {field.name for field in fields(sense.Parts)}
    present = sense.Parts(**{key: part for key, part in parts.items() if key in known}, recipes=recipes)
    findings = [*reading.findings, *sense.check(present, sources)]
    if any(finding.level == "error" for finding in findings):
        raise SpecError(findings)
    data = reading.root.data
    spec = model.Spec(
        name=data["name"],
        count=int(data.get("count", 1)),
        programs=data.get("programs", "sheet"),
        notes=data.get("notes", ""),
        acknowledge=tuple(data.get("acknowledge", ())),
        recipes=tuple(recipes.values()),
        driver_curve=curve,
        **parts,
    )
    return LoadedSpec(spec, in_order(findings), tuple(reading.files), tuple(reading.sha256), reading.root.text, sources)


class _Reading:
    """The files of one spec while they are read. One use only."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.findings: list[Finding] = []
        self.files: list[Path] = []
        self.sha256: list[str] = []
        self.mounts: list[Mount] = []
        self.wrong: list[tuple[Source, KeyPath]] = []
        self.recipes: dict[int, Any] = {}  # in order; None where the entry does not fit its schema
        self.root = self.read(path, "spec")

    def read(self, path: Path, schema: str) -> Source:
        """Read one file and check its shape."""
        self.note(path)
        source = read_file(path, path.as_posix())
        self.findings += source.findings
        if source.data is not None:
            wrong = shape.check(source, schema)
            self.wrong += [(source, path) for path in (*(one.path for one in wrong), *source.broken)]
            self.findings += [one.finding for one in wrong[:MAX_FINDINGS]]
        return source

    def note(self, path: Path) -> None:
        """Keep the name and digest of a file that is about to be read."""
        self.files.append(path)
        self.sha256.append(sha256_of(path))

    def spec_file(self) -> None:
        """Follow the shelf names of the spec and set up where everything stands."""
        data = self.root.data
        self.mounts.append(Mount((), self.root))
        if data is None:
            raise SpecError(self.findings)
        for key in _SHELVED:
            if isinstance(data.get(key), str) and (file := self.named(key, (key,), data[key])):
                self.mounts.append(Mount((key,), self.read(file, key)))
        listed = data.get("recipes")
        if listed is None and ("recipes",) not in self.root.places:
            for file in shelf.listed(self.path, "recipes"):
                self.recipe_file(file)
        for index, item in enumerate(listed if isinstance(listed, list) else ()):
            if isinstance(item, str):
                if file := self.named("recipes", ("recipes", index), item):
                    self.recipe_file(file)
            else:
                self.entry(self.root, ("recipes", index), item)

    def named(self, kind: str, path: KeyPath, name: str) -> Path | None:
        try:
            return shelf.named(self.path, kind, name)
        except shelf.ShelfError as error:
            at = Places(tuple(self.mounts))
            self.findings.append(at.finding(path, error.code, str(error), error.why, error.hint))
            return None

    def recipe_file(self, file: Path) -> None:
        source = self.read(file, "recipes")
        entries = source.data.get("entries") if source.data else None
        for index, entry in enumerate(entries if isinstance(entries, list) else ()):
            self.entry(source, ("entries", index), entry)

    def entry(self, source: Source, inner: KeyPath, data: Any) -> None:
        index = len(self.recipes)
        self.mounts.append(Mount(("recipes", index), source, inner))
        self.recipes[index] = data if self.sound(source, inner) else None

    def part(self, key: str, at: Places) -> Any:
        """Return the value of one part, None if something is wrong with it or it is missing."""
        source, inner = at.find((key,))
        data = source.data
        for step in inner:
            data = data.get(step) if isinstance(data, dict) else None
        if key in _OPTIONAL and key not in self.root.data:
            return _KINDS[key]()
        if not isinstance(data, dict) or not self.sound(source, inner):
            return None
        try:
            return build.make(_KINDS[key], data)
        except PlanError as error:
            self.findings.append(at.finding((key, "plan", *error.path), error.code, str(error), "", error.hint))
            return None

    def driver_curve(self, driver: model.Driver | None, at: Places) -> model.DriverCurve | None:
        """Read the response file that a driver names; None if it names none, or something is wrong with it."""
        if driver is None or driver.response_file is None:
            return None
        path = self.named("response", ("driver", "response_file"), driver.response_file)
        if path is None:
            return None
        from kerfwave.spec import response_file

        self.note(path)
        curve, findings = response_file.read(path, driver)
        self.findings += findings
        return curve

    def sound(self, source: Source, inner: KeyPath) -> bool:
        """Return whether nothing was found wrong at or below `inner`."""
        return not any(where is source and path[: len(inner)] == inner for where, path in self.wrong)
