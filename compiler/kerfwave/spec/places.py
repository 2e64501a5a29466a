"""From a path in the spec to a place in a file, shelf files included."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave.findings import Finding, Level
from kerfwave.spec.yaml_source import KeyPath, Source, Span

# Fields of the value types that are written otherwise in YAML.
_WRITTEN: dict[KeyPath, KeyPath] = {
    ("machine", "bed_width_mm"): ("machine", "bed_mm", 0),
    ("machine", "bed_height_mm"): ("machine", "bed_mm", 1),
    ("enclosure", "plan", "outline"): ("enclosure", "plan", "points_mm"),
}


@dataclass(frozen=True, slots=True)
class Mount:
    """The part of the spec at `path` is what `source` holds at `inner`."""

    path: KeyPath
    source: Source
    inner: KeyPath = ()


@dataclass(frozen=True, slots=True)
class Places:
    """Side table of all files that made one spec. The first mount is the spec file itself."""

    mounts: tuple[Mount, ...]

    def find(self, path: KeyPath) -> tuple[Source, KeyPath]:
        """Return the file that holds `path`, and the path inside it."""
        for written in (path[:3], path[:2]):
            if written in _WRITTEN:
                path = _WRITTEN[written] + path[len(written) :]
                break
        fitting = [mount for mount in self.mounts if path[: len(mount.path)] == mount.path]
        mount = max(fitting, key=lambda mount: len(mount.path))
        return mount.source, mount.inner + path[len(mount.path) :]

    def stated(self, path: KeyPath) -> bool:
        """Return whether somebody wrote this key, or a default stands for it."""
        source, inner = self.find(path)
        return inner in source.places

    def locate(self, path: KeyPath) -> tuple[str, int, int, str]:
        """Return (file, line, column, text of the line) of a value, or of the nearest key above it."""
        source, inner = self.find(path)
        span = source.span(inner)
        return source.file, span.line, span.column, source.line_text(span.line)

    def finding(
        self, path: KeyPath, code: str, message: str, why: str = "", hint: str = "", *, level: Level = "error"
    ) -> Finding:
        """Return a finding that points at `path`."""
        source, inner = self.find(path)
        return finding_at(source, scalar_span(source, inner), code, message, why, hint, level=level)


def scalar_span(source: Source, path: KeyPath) -> Span:
    """Return the place of a scalar, or of the key that a list or mapping stands under."""
    value = source.data
    for step in path:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            value = None
            break
    return source.span(path, "key" if isinstance(value, dict | list) else "value")


def finding_at(
    source: Source, span: Span, code: str, message: str, why: str = "", hint: str = "", *, level: Level = "error"
) -> Finding:
    """Return a finding that points at `span` of `source`."""
    text = source.line_text(span.line)
    return Finding(code, level, source.file, span.line, span.column, message, why, hint, text, span.length)
