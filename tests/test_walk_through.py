"""The walk-through: its commands are ones that the program knows, its spec is the README's and is sound."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

from kerfwave import cli
from kerfwave.measure.columns import read_columns
from kerfwave.spec import load

ROOT = Path(__file__).parents[1]
WALK = (ROOT / "docs" / "walk-through.md").read_text("utf-8")
README = (ROOT / "README.md").read_text("utf-8")
PAGES = {name: (ROOT / "docs" / name).read_text("utf-8") for name in ("walk-through.md", "ci.md")}


def blocks(text, language):
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


COMMANDS = [line for block in blocks(WALK, "sh") for line in block.splitlines()]


@pytest.mark.parametrize("line", COMMANDS)
def test_each_command_is_understood(line):
    program, *words = shlex.split(line)
    assert program == "kerfwave"
    assert cli.parser().parse_args(words).command == words[0]


def test_the_walk_goes_all_the_way():
    assert {shlex.split(line)[1] for line in COMMANDS} >= {
        "check",
        "build",
        "learn",
        "compare",
        "resume",
        "promise",
        "sweep",
    }


def test_the_spec_is_the_readmes_and_the_room_completes_it(tmp_path):
    shutil.copytree(ROOT / "specs", tmp_path / "specs")
    (example,) = [block for block in blocks(README, "yaml") if block.startswith("# yaml-language-server")]
    (room,) = blocks(WALK, "yaml")
    spec = tmp_path / "specs" / "kitchen-shelf.yaml"
    spec.write_text(example + room, "utf-8")
    loaded = load(spec).spec
    assert loaded.room.extinguisher == "abc-powder" and loaded.room.bystander_m == 8
    assert loaded.name == "Kitchen shelf speaker"


def test_the_readings_can_be_read():
    text = (ROOT / "docs" / "walk" / "impedance.txt").read_text("utf-8")
    assert text.startswith("# Invented")
    read = read_columns(text, name="impedance.txt", columns=("Hz", "ohm"))
    assert len(read.values[0]) > 100


def test_every_picture_of_the_walk_is_there_and_has_a_text():
    pictures = re.findall(r"!\[([^\]]+)\]\((walk/[\w.-]+)\)", WALK)
    assert {name for _, name in pictures} == {f"walk/{p.name}" for p in (ROOT / "docs" / "walk").glob("*.svg")}
    assert all(len(alternative) > 30 for alternative, _ in pictures)
