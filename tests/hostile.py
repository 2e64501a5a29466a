"""Specs and shelf files gone wrong, each drawn from its number alone: what a slip, a broken disk or malice would write.

A case is the demos' shelf with some of its files changed. Free texts carry `MARK`, so that a test finds them again in
whatever comes out; `SECRET` stands in a file outside the shelf, which no case may reach.
"""

from __future__ import annotations

import copy
import json
import math
import os
import random
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

ROOT = Path(__file__).parent.parent
MARK, SECRET = "KWX", "QSECRETQ"
SPECS = ("listening-post.yaml", "desk-speaker.yaml")
SHELF = {
    path.relative_to(ROOT / "specs").as_posix(): path.read_bytes()
    for path in sorted((ROOT / "specs").rglob("*"))
    if path.is_file()
}
SCHEMAS = {path.name.partition(".")[0]: json.loads(path.read_bytes()) for path in (ROOT / "schemas").glob("*.json")}
SCHEMA_OF = {"drivers": "driver", "machines": "machine", "recipes": "recipes", "stock": "stock"}
OF_SPEC = {
    SPECS[0]: ("drivers/invented-75-wideband.yaml", "machines/open-frame-5w5.yaml", "stock/birch-6.yaml"),
    SPECS[1]: ("drivers/invented-57-wideband.yaml", "machines/open-frame-10w.yaml", "stock/poplar-4.yaml"),
}
RECIPES = "recipes/invented-blue-diodes.yaml"
MEASURED = """\
measured:
  tuning_hz: {value: 81, standard: 2, date: "2026-06-01", source: test.wav}
history:
  - {quantity: tuning_hz, value: 80, standard: 2, date: "2026-05-01", until: "2026-06-01"}
"""

PAYLOADS = (
    f"<script>{MARK}()</script>", f'"><svg/onload={MARK}()>', f"'><img src=x onerror={MARK}()>", f"]]>{MARK}<![CDATA[",
    f"--></style></title><script>{MARK}</script>", f"javascript:{MARK}()", f"&#60;script&#62;{MARK}", f"&{MARK};",
    f"{{{{ {MARK} }}}}", f"{{% for x in {MARK} %}}", f"${{{MARK}}}", f"%({MARK})s", f"{{{MARK}.__class__}}",
    f"=HYPERLINK(\"http://x/{MARK}\")", f"+{MARK}", f"-2+3+cmd|' /C {MARK}'!A0", f"@SUM({MARK})", f" =1+{MARK}",
    f"＝1+{MARK}", f"a;=1+{MARK}", f"a\u3000;＠{MARK}", f"a,\"=1+{MARK}", f") G0 X999 M3 S1000 ({MARK}",
    f"){MARK}", f"(({MARK}", f"; M3 S1000 {MARK}", f"% {MARK}", f"MSG,{MARK}", f"! ~ ? {MARK}", f"$X {MARK}",
    f"N1 G91 {MARK}", f"url(http://x/{MARK})", f"#1=2 {MARK}", f"[{MARK}]", f"木{MARK}ü", f"e\u0301{MARK}",
    f"😀{MARK}", f"\u0661\u0662 {MARK}", f"../../{MARK}", f"| {MARK} |", f"`{MARK}`", f"[x](javascript:{MARK})",
)  # fmt: skip
NAMES = (
    "../../secret/driver.yaml", "drivers/../../secret/driver.yaml", "/etc/passwd", "~/x.yaml", "drivers//x.yaml",
    "drivers\\..\\..\\secret\\driver.yaml", "C:/x.yaml", "file:///etc/passwd", "drivers/%2e%2e/x.yaml", "drivers/",
    "drivers/.", "drivers/..", ".", "drivers/\u2025/x.yaml", "drivers/link.yaml", "drivers/linked/driver.yaml",
    "drivers/loop.yaml", "drivers/pipe.yaml", "drivers/folder.yaml", "drivers/" + "x" * 190 + ".yaml",
    "drivers/" + "a/" * 90 + "x.yaml", "stock/birch-6.yaml", "machines/open-frame-5w5.yaml", "con.yaml",
    "drivers/invented-75-wideband.yaml ", "DRIVERS/invented-75-wideband.yaml", "drivers/木.yaml", "drivers/x.yaml\n",
    "drivers/link.txt", "drivers/invented-57-response.txt", "drivers/pipe.txt",
)  # fmt: skip
ODD = (
    None, True, False, 0, -1, 1, 1e-300, 5e-324, 1e300, 1.7976931348623157e308, -1e300, 10**39, 10**41, -0.0, math.nan,
    math.inf, -math.inf, 1e9, 1e-9, "", " ", "1", "1e3", "yes", "0x10", "4:30", "1_000", ".inf",
    [], {}, [[]], [{}], [1, 2],
    {"a": 1}, [None], "x" * 3000, ["x"] * 500, [1e300] * 300, {"shape": "polygon"}, [[0, 0]] * 200,
)  # fmt: skip
TOKENS = (
    b"&a ", b"*a", b"<<: *a", b"!!python/object/apply:os.system ", b"!x ", b"!!binary ", b"---\n",
    b"...\n", b"\t", b"\0",
    b"\x1b[31m", b"\x85", b"\xe2\x80\xa8", b"\xe2\x80\xae", b"\xef\xbb\xbf", b"\xff",
    b"\xed\xa0\x80", b"\xc0\xaf", b"{",
    b"[", b"]", b"}", b": ", b"- ", b"? ", b"|\n", b">-\n", b"'", b'"', b"\\", b"#", b"%TAG ! x\n",
    b"\r", b"\r\n", b"\n",
    b".nan", b".inf", b"1e999", b"9" * 50, b"NULL", b"~", b"@", b"`", b"\xf0\x9f\x98\x80", b"\xcc\x81" * 9, b"  ",
)  # fmt: skip
ENCODINGS = ("utf-16", "utf-16-le", "utf-32", "latin-1", "utf-8-sig", "cp1252", "shift_jis", "utf-7")
STEMS = ("木工", "ü", "-x", "..x", "a b", "x" * 120, "con", "=1+1", "a;b", "a\nb", "$(x)", "listening-post", "A.b_c-1")


@dataclass(frozen=True)
class Case:
    """One input: the spec to build, and the files of its shelf that differ from the demos' (None: it is not there)."""

    seed: int
    kind: str
    spec: str
    files: dict[str, bytes | None]

    def write(self, home: Path) -> Path:
        """Write the shelf into `home`, which holds nothing else, and what must not be reached beside it."""
        shelf, secret = home / "specs", home / "secret"
        if not secret.is_dir():
            secret.mkdir(parents=True)
            (secret / "driver.yaml").write_text(f"name: {SECRET}\n", "utf-8")
            (secret / "response.txt").write_text(f"{SECRET}\n", "utf-8")
        shutil.rmtree(shelf, ignore_errors=True)
        for name, raw in {**SHELF, **self.files}.items():
            if raw is not None:
                path = shelf / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(raw)
        if self.kind in ("names", "shelf"):
            _traps(shelf, secret)
        return shelf / self.spec


def _traps(shelf: Path, secret: Path) -> None:
    drivers = shelf / "drivers"
    drivers.mkdir(parents=True, exist_ok=True)
    (drivers / "link.yaml").symlink_to(secret / "driver.yaml")
    (drivers / "link.txt").symlink_to(secret / "response.txt")
    (drivers / "linked").symlink_to(secret)
    (drivers / "loop.yaml").symlink_to("loop.yaml")
    (drivers / "folder.yaml").mkdir()
    for name in ("pipe.yaml", "pipe.txt"):
        if hasattr(os, "mkfifo"):
            os.mkfifo(drivers / name)


def case(seed: int, kind: str = "") -> Case:
    """Return case number `seed`, of one kind if it is named."""
    chance = random.Random(seed)
    kind = kind or _pick(chance, tuple(KINDS))
    spec = _pick(chance, SPECS)
    return Case(seed, kind, *KINDS[kind](chance, spec))


def _pick(chance: random.Random, among: Any) -> Any:
    return among[int(chance.random() * len(among))]


def _file(chance: random.Random, spec: str) -> str:
    return spec if chance.random() < 0.5 else str(_pick(chance, (*OF_SPEC[spec], RECIPES)))


def _bytes(chance: random.Random, spec: str) -> tuple[str, dict[str, bytes | None]]:
    """Bytes and lines of one file changed, cut off, doubled, put in another encoding."""
    name = _file(chance, spec)
    raw = SHELF[name]
    for _ in range(1 + int(3 * chance.random())):
        at = int(len(raw) * chance.random())
        lines = raw.splitlines(keepends=True)
        row = int(len(lines) * chance.random())
        action = int(9 * chance.random())
        if action == 0:
            raw = raw[:at]
        elif action == 1:
            raw = raw[:at] + bytes([int(256 * chance.random())]) + raw[at + 1 :]
        elif action in (2, 3):
            raw = raw[:at] + _pick(chance, TOKENS) * (1 if chance.random() < 0.9 else 3000) + raw[at:]
        elif action == 4 and lines:
            raw = b"".join(lines[:row] + lines[row + 1 :])
        elif action == 5 and lines:
            raw = b"".join([*lines[:row], lines[row], *lines[row:]])
        elif action == 6 and lines:
            raw = b"".join([*lines[:row], b" " * int(5 * chance.random()) + lines[row].lstrip(), *lines[row + 1 :]])
        elif action == 7:
            raw = raw.decode("utf-8", "replace").encode(_pick(chance, ENCODINGS), "replace")
        elif lines:
            head, _, _ = lines[row].partition(b":")
            raw = b"".join([*lines[:row], head + b": " + _pick(chance, TOKENS) + b"\n", *lines[row + 1 :]])
    return spec, {name: raw}


def _values(chance: random.Random, spec: str) -> tuple[str, dict[str, bytes | None]]:
    """Values of another type or size, in up to three places."""
    name = _file(chance, spec)
    data = yaml.safe_load(SHELF[name])
    for _ in range(1 + int(3 * chance.random())):
        path = _pick(chance, list(_spots(data)))
        value = _pick(chance, ODD) if chance.random() < 0.8 else _nest(int(60 * chance.random()))
        _put(data, path, copy.deepcopy(value))
    return spec, {name: _dump(chance, data)}


def _bounds(chance: random.Random, spec: str) -> tuple[str, dict[str, bytes | None]]:
    """Keys that the schema knows, at its bounds or anywhere between: what only the trades can refuse."""
    files: dict[str, bytes | None] = {}
    for _ in range(1 + int(3 * chance.random())):
        name = _file(chance, spec)
        data = yaml.safe_load(files.get(name) or SHELF[name])
        schema = SCHEMAS[SCHEMA_OF.get(name.partition("/")[0], "spec")]
        path, part = _pick(chance, [leaf for leaf in _leaves(schema, schema) if leaf[0]])
        _put(data, path, _near(chance, part))
        files[name] = _dump(chance, data)
    return spec, files


def _texts(chance: random.Random, spec: str) -> tuple[str, dict[str, bytes | None]]:
    """Every free text that there is says something else: markup, formulas, code."""
    files: dict[str, bytes | None] = {}
    for name in (spec, *OF_SPEC[spec], RECIPES):
        data = yaml.safe_load(SHELF[name])
        schema = SCHEMAS[SCHEMA_OF.get(name.partition("/")[0], "spec")]
        for path, part in _leaves(schema, schema):
            free = part.get("type") == "string" and not {"enum", "pattern"} & part.keys()
            code = path[0] in ("start", "end") and chance.random() > 0.02  # lines of code by design, seldom spoilt
            if free and not code and path[-1] != "response_file":
                _put(data, path, _pick(chance, PAYLOADS)[: part.get("maxLength", 80)])
        files[name] = _dump(chance, data)
    return spec, files


def _shelf(chance: random.Random, spec: str) -> tuple[str, dict[str, bytes | None]]:
    """Shelf files cut short, gone, or another's."""
    name = str(_pick(chance, (*OF_SPEC[spec], RECIPES, "drivers/invented-57-response.txt")))
    raw = SHELF[name]
    action = int(4 * chance.random())
    if action == 0:
        return spec, {name: None}
    if action == 1:
        return spec, {name: SHELF[_pick(chance, tuple(SHELF))]}
    if action == 2 and name.endswith(".txt"):
        lines = raw.decode().splitlines()
        lines[int(len(lines) * chance.random())] = str(_pick(chance, ODD)) + " " + str(_pick(chance, ODD))
        return spec, {name: "\n".join(lines).encode()}
    return spec, {name: raw[: int(len(raw) * chance.random())]}


def _names(chance: random.Random, spec: str) -> tuple[str, dict[str, bytes | None]]:
    """Names of shelf files and of the spec that would lead elsewhere."""
    if chance.random() < 0.2:
        other = _pick(chance, STEMS) + ".yaml"
        return other, {other: SHELF[spec]}
    data = yaml.safe_load(SHELF[spec])
    key = _pick(chance, ("driver", "stock", "machine", "recipes", "response_file"))
    if key == "response_file":
        data["driver"] = {**yaml.safe_load(SHELF[OF_SPEC[spec][0]]), key: _pick(chance, NAMES)}
    else:
        data[key] = [_pick(chance, NAMES)] if key == "recipes" else _pick(chance, NAMES)
    return spec, {spec: _dump(chance, data)}


def _measured(chance: random.Random, spec: str) -> tuple[str, dict[str, bytes | None]]:
    """What was measured on the finished speaker, spoilt."""
    raw = MEASURED.encode()
    if chance.random() < 0.5:
        data = yaml.safe_load(MEASURED)
        _put(data, _pick(chance, list(_spots(data))), _pick(chance, (*ODD, *PAYLOADS)))
        raw = _dump(chance, data)
    else:
        at = int(len(raw) * chance.random())
        raw = raw[:at] + (_pick(chance, TOKENS) + raw[at:] if chance.random() < 0.8 else b"")
    return spec, {spec.replace(".yaml", ".measured.yaml"): raw}


KINDS = {
    "bytes": _bytes,
    "values": _values,
    "bounds": _bounds,
    "texts": _texts,
    "shelf": _shelf,
    "names": _names,
    "measured": _measured,
}


def _dump(chance: random.Random, data: Any) -> bytes:
    text = yaml.safe_dump(data, allow_unicode=chance.random() < 0.8, sort_keys=False)
    return text.encode("utf-8", "surrogatepass")


def _spots(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if path:
        yield path
    for key, part in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield from _spots(part, (*path, key))


def _nest(depth: int) -> Any:
    value: Any = 1
    for level in range(depth):
        value = [value] if level % 2 else {"a": value}
    return value


def _put(data: Any, path: tuple[Any, ...], value: Any) -> None:
    """Set a value, making what lies above it; nothing happens where something else stands in the way."""
    for step, after in zip(path, (*path[1:], None), strict=True):
        if isinstance(data, dict):
            if after is not None and not isinstance(data.get(step), dict | list):
                data[step] = [] if isinstance(after, int) else {}
        elif isinstance(data, list) and isinstance(step, int):
            while len(data) <= step:
                data.append([] if isinstance(after, int) else {})
        else:
            return
        if after is None:
            data[step] = value
        else:
            data = data[step]


def _leaves(schema: Any, part: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], dict[str, Any]]]:
    """Yield the place and the schema of every value that a schema knows."""
    reference = part.get("$ref", "")
    if reference.startswith("#/"):
        part = schema
        for step in reference[2:].split("/"):
            part = part[step]
    if "properties" in part:
        for key, below in part["properties"].items():
            yield from _leaves(schema, below, (*path, key))
    elif "items" in part and isinstance(part["items"], dict):
        yield from _leaves(schema, part["items"], (*path, 0))
    elif path:
        yield path, part


def _near(chance: random.Random, part: dict[str, Any]) -> Any:
    if "enum" in part:
        return _pick(chance, part["enum"])
    kinds = part.get("type", "string")
    if "boolean" in kinds:
        return chance.random() < 0.5
    if "number" not in kinds and "integer" not in kinds:
        return _pick(chance, PAYLOADS)[: part.get("maxLength", 80)]
    low = part.get("minimum", part.get("exclusiveMinimum", -1e6))
    high = part.get("maximum", 1e6)
    least = max(low, 1e-9)
    drawn = (
        low, high, low + 1e-9, math.nextafter(high, math.inf), math.nextafter(low, -math.inf),
        low + (high - low) * chance.random(), least * (max(high, least) / least) ** chance.random(),
        least * (max(high, least) / least) ** chance.random(),
    )  # fmt: skip
    value = _pick(chance, drawn)
    return round(value) if "number" not in kinds else float(f"{value:.6g}")
