"""The page on dependencies tells what pyproject.toml asks for, and the licences that are really installed."""

import re
import sys
from importlib.metadata import metadata, requires
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs/dependencies.md").read_text("utf-8")
ROWS = re.findall(r"^\| (\S+) \| ([><=]\S+) \| (\S+) \| (.+) \|$", PAGE, re.MULTILINE)


def test_the_page_lists_what_is_required_with_its_range():
    text = (ROOT / "pyproject.toml").read_text("utf-8")
    listed = re.search(r"^dependencies = \[\n(.*?)^\]", text, re.MULTILINE | re.DOTALL)
    assert listed is not None
    asked = re.findall(r'"([A-Za-z0-9_-]+)([^"]*)"', listed[1])
    assert asked == [(name, bounds) for name, bounds, _, _ in ROWS]
    assert all(re.fullmatch(r">=[\d.]+,<\d+", bounds) for _, bounds in asked)


@pytest.mark.parametrize(("name", "licence"), [(name, licence) for name, _, licence, _ in ROWS])
def test_the_licence_is_the_one_that_its_maker_states(name, licence):
    found = metadata(name)
    family = licence.partition("-")[0]  # makers write "BSD 3-Clause License" and "BSD-3-Clause AND ..."
    told = [found.get("License-Expression"), found.get("License"), *(found.get_all("Classifier") or [])]
    stated = [text for text in told if text and ("License" in text or text[:3] in ("MIT", "BSD"))]
    assert any(family in text for text in stated), stated


def test_what_they_bring_along_is_named_too():
    waiting, seen = [name for name, _, _, _ in ROWS], set()
    while waiting:
        name = re.sub(r"[-_.]+", "-", waiting.pop()).lower()
        if name in seen:
            continue
        seen.add(name)
        for line in requires(name) or ():
            wanted, _, condition = line.partition(";")
            if "extra" in condition or ("python_version" in condition and not _holds(condition)):
                continue
            waiting.append(re.match(r"[A-Za-z0-9._-]+", wanted.strip())[0])
    plain = re.sub(r"[_.]+", "-", PAGE).lower()
    assert [name for name in sorted(seen) if name not in plain] == []


def _holds(condition: str) -> bool:
    """Tell whether a condition on Python's version, such as ``python_version < "3.13"``, holds here."""
    found = re.search(r'python_version\s*(<=|>=|<|>)\s*["\'](\d+)\.(\d+)', condition)
    if found is None:
        return True
    wanted, here = (int(found[2]), int(found[3])), sys.version_info[:2]
    return {"<": here < wanted, ">": here > wanted, "<=": here <= wanted, ">=": here >= wanted}[found[1]]
