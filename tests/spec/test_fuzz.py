"""Whatever the bytes, `load` returns a spec or raises SpecError with findings that point into the file."""

import json
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from kerfwave.findings import SpecError, render
from kerfwave.spec import LoadedSpec, load

MINIMAL = (Path(__file__).parent / "fixtures" / "minimal.yaml").read_text(encoding="utf-8")
LINES = MINIMAL.splitlines(keepends=True)
QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz") / "spec.yaml"


def _try(file: Path, raw: bytes) -> None:
    file.write_bytes(raw)
    try:
        loaded = load(file)
    except SpecError as error:
        assert error.findings
        assert any(finding.level == "error" for finding in error.findings)
        for finding in error.findings:
            assert finding.line >= 1
            assert finding.column >= 1
            assert finding.length >= 1
            assert finding.column <= len(finding.source_line) + 1
        assert render(error.findings, colour=True)
    else:
        assert isinstance(loaded, LoadedSpec)


@QUICK
@given(st.binary(max_size=200))
@example(b"\xff")
@example(b"a: \xef\xbf\xbe")
def test_random_bytes(file, raw):
    _try(file, raw)


YAML_SIGNS = st.text(alphabet="abc01:-[]{},#&*!|>'\"%@`\\ \n\t?.~<=é日\r", max_size=80)


@QUICK
@given(YAML_SIGNS)
@example("? - a\n: b")
@example("a: |\n")
@example("a: >-\n  x\n y")
@example("- !<tag:x> a")
@example('"\\')
@example("{a: b, ? c}")
@example("[a: b]")
@example("%TAG ! x\n---\n!a b")
def test_random_yaml(file, text):
    _try(file, text.encode())


@QUICK
@given(
    st.lists(st.tuples(st.integers(0, len(LINES) - 1), st.sampled_from("dxsiw"), YAML_SIGNS), min_size=1, max_size=4)
)
def test_mutated_lines(file, edits):
    lines = list(LINES)
    for at, kind, text in edits:
        at %= len(lines)
        if kind == "d":
            del lines[at]
        elif kind == "x":
            lines.insert(at, lines[at])
        elif kind == "s":
            lines[at], lines[at - 1] = lines[at - 1], lines[at]
        elif kind == "i":
            lines[at] = "  " + lines[at]
        else:
            head, _, _ = lines[at].partition(":")
            lines[at] = f"{head}: {text}\n"
        if not lines:
            break
    _try(file, "".join(lines).encode())


scalars = st.one_of(
    st.none(), st.booleans(), st.integers(-5, 3000), st.floats(allow_nan=False, allow_infinity=False, width=32),
    st.text(max_size=12), st.sampled_from(["polygon", "front", "facing", "drivers/x.yaml", "M3", "auto"]),
)  # fmt: skip
values = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


def _spots(value, path=()):
    if path:
        yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, part in inner:
        yield from _spots(part, (*path, key))


@QUICK
@given(st.data())
def test_mutated_values(file, data):
    spec = yaml.safe_load(MINIMAL)
    for _ in range(data.draw(st.integers(1, 3))):
        path = data.draw(st.sampled_from(list(_spots(spec))))
        parent = spec
        for step in path[:-1]:
            parent = parent[step]
        parent[path[-1]] = data.draw(values)
    _try(file, json.dumps(spec, ensure_ascii=data.draw(st.booleans())).encode("utf-8", "replace"))


points = st.lists(st.tuples(st.floats(-2000, 2000), st.floats(-2000, 2000)).map(list), min_size=1, max_size=9)


@QUICK
@given(points, st.lists(st.sampled_from(["front", "a", "b", "c", "d", "auto"]), min_size=1, max_size=9))
@example([[0.0, 0.0], [1e-300, 0.0], [0.0, 1e-300]], ["front", "a", "b"])
@example([[0.0, 0.0], [0.0, 0.0], [0.0, 0.0]], ["front", "a", "b"])
def test_random_polygons(file, points, faces):
    spec = yaml.safe_load(MINIMAL)
    spec["enclosure"]["plan"] = {"shape": "polygon", "points_mm": points, "faces": faces}
    text = yaml.safe_dump(spec)
    _try(file, text.encode())


@pytest.mark.parametrize(
    "raw",
    [
        b"[" * 500_000, b"? " * 300_000, b"{a: " * 200_000, b"[" + b"1," * 400_000 + b"]", b"a: 1\n" * 150_000,
        b"".join(b"k%d: 1\n" % i for i in range(60_000)), b"a: " + b"x" * 1_000_000, b"a: " + b"9" * 1_000_000,
        b"a: &a [x]\nb: [*a, *a, *a]\n" * 30_000, b"\x01\n" * 400_000, b":" * 1_000_000, b"*a " * 300_000,
        b"- " * 500_000, b"!" * 1_000_000, b"'" * 1_000_000, b"#" * 1_000_000,
    ],
    ids=range(16),
)  # fmt: skip
def test_large_and_hostile_files_end(file, raw):
    _try(file, raw)
