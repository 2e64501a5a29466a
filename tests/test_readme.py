"""The README says what is so: its commands, its options, its example, its list of files."""

import argparse
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from kerfwave import cli
from kerfwave.spec import SpecError, load
from kerfwave.stages import STAGES

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


def section(title: str) -> str:
    return README.split(f"\n## {title}\n")[1].split("\n## ")[0]


def commands() -> dict[str, argparse.ArgumentParser]:
    """Return the parsers of the program's commands, by name."""
    found = [action for action in cli.parser()._actions if isinstance(action, argparse._SubParsersAction)]
    return found[0].choices


def options(parser: argparse.ArgumentParser) -> set[str]:
    return {name for action in parser._actions for name in action.option_strings if name.startswith("--")}


# --- two commands ---------------------------------------------------------------------------------------------------


def test_there_are_two_commands_and_each_sets_itself_up():
    build, test = blocks("sh")
    for command in (build, test):
        assert command.count("\n") == 1, "a command is one line, to be copied whole"
        assert command.startswith("python3 -m venv .venv && .venv/bin/python -m pip install -e ")
    assert build.split(" && ")[1].endswith("-e .")
    assert test.split(" && ")[1].endswith("-e '.[test]'")
    assert test.split(" && ")[2] == ".venv/bin/python -m pytest -n auto --dist loadfile\n"


def test_the_first_command_builds_every_demo():
    program, *words = blocks("sh")[0].split(" && ")[2].split()
    assert program == ".venv/bin/kerfwave"
    asked = cli.parser().parse_args(words)
    assert asked.command == "build" and asked.out == "out"
    assert {ROOT / spec for spec in asked.specs} == set((ROOT / "specs").glob("*.yaml"))


# --- the package ----------------------------------------------------------------------------------------------------


def listed() -> list[str]:
    """Return the paths that the tree in the README shows, below the package's folder."""
    found, folder = [], ""
    for line in blocks("text")[0].splitlines()[1:]:
        branch = re.fullmatch(r"([│ ]*)[├└]── (\S+)(?: .*)?|[│ ]+(?:how|two).*", line)
        assert branch, f"not a line of a tree: {line!r}"
        if branch[2] is None:
            continue
        folder = folder if branch[1] else ""
        if branch[2].endswith("/"):
            folder = branch[2]
        else:
            found.append(folder + branch[2])
    return found


def test_the_tree_is_read_right():
    assert "guide.html" in listed() and "gcode/sheet-01.nc" in listed() and "manifest.json" in listed()
    assert blocks("text")[0].splitlines()[0] == "out/listening-post/"


@pytest.mark.parametrize("name", listed())
def test_every_file_that_is_promised_is_there(demo_package, name):
    assert (demo_package / name).is_file()


def test_every_kind_of_file_that_is_there_is_told(demo_package):
    def kind(name: str) -> str:
        return re.sub(r"-\d\d(?=[.-])", "-01", name)

    there = {kind(p.relative_to(demo_package).as_posix()) for p in demo_package.rglob("*") if p.is_file()}
    assert there == {kind(name) for name in listed()}


def test_the_picture_is_one_that_the_program_draws(demo_package):
    assert "](docs/picture.svg)" in README
    picture = (ROOT / "docs" / "picture.svg").read_text("utf-8")
    drawn = (demo_package / "drawings" / "inside.svg").read_text("utf-8")
    title = re.compile(r"<title>(.*?)</title>")
    assert title.findall(picture) == title.findall(drawn)
    assert "<script" not in picture and "href=" not in picture


# --- the spec -------------------------------------------------------------------------------------------------------


@pytest.fixture
def example(tmp_path: Path) -> Path:
    """Write the README's spec beside a copy of the shelf."""
    for shelf in ("drivers", "stock", "machines", "recipes"):
        shutil.copytree(ROOT / "specs" / shelf, tmp_path / "specs" / shelf)
    named = re.search(r"`(specs/[a-z-]+\.yaml)`:\n\n```yaml\n", README)
    assert named is not None
    spec = tmp_path / named[1]
    spec.write_text(blocks("yaml")[0], "utf-8")
    return spec


def test_the_example_is_a_whole_spec(example):
    loaded = load(example)
    assert loaded.warnings == ()
    assert loaded.spec.target.relief_to_hz == 200
    assert loaded.spec.drive.volts == 2


def test_the_example_meets_its_own_target(example, tmp_path):
    assert cli.main(["check", str(example), "--out", str(tmp_path / "out")]) == cli.DONE


def test_the_mistake_is_shown_as_the_program_shows_it(example, monkeypatch):
    monkeypatch.chdir(example.parents[1])
    shown = blocks("text")[1]
    example.write_text(blocks("yaml")[0].replace("sd_cm2: 28", "sd_cm2: 0.0028"), "utf-8")
    with pytest.raises(SpecError) as raised:
        load(example.relative_to(example.parents[1]))
    assert str(raised.value).strip() == shown.strip()


# --- the command line -----------------------------------------------------------------------------------------------


def test_the_options_are_those_of_the_program():
    rows = dict(re.findall(r"^\| `kerfwave (\w+) ([^`]*)`", section("The command line"), re.MULTILINE))
    assert set(rows) == set(commands())
    for name, usage in rows.items():
        told, known = set(re.findall(r"--[a-z-]+", usage)), options(commands()[name]) - {"--help"}
        assert told <= known if "[...]" in usage else told == known
    alone = set(re.findall(r"`kerfwave (--[a-z]+)`", section("The command line")))
    assert alone == options(cli.parser())


def test_the_exit_statuses_are_those_of_the_program():
    told = set(re.findall(r"^\| (\d+) \|", section("The command line"), re.MULTILINE))
    known = (cli.DONE, cli.FAILED_CHECK, cli.WRONG_INPUT, cli.MACHINE_FAILED, cli.INTERRUPTED)
    assert told == {str(status) for status in known}


def test_the_program_starts_as_a_module():
    done = subprocess.run([sys.executable, "-m", "kerfwave", "--help"], capture_output=True, text=True, check=True)
    assert "exit status" in done.stdout


# --- every page -----------------------------------------------------------------------------------------------------

PAGES = [*sorted(ROOT.glob("*.md")), *sorted((ROOT / "docs").glob("*.md")), *sorted((ROOT / "tests").rglob("*.md"))]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text("utf-8")):
        assert (page.parent / target).exists(), f"{page.name} links to {target}"


@pytest.mark.parametrize("page", ["DEVELOPERS.md", "docs/physics.md", "tests/bench/README.md"])
def test_files_that_are_named_exist(page):
    text = (ROOT / page).read_text("utf-8")
    homes = (ROOT, ROOT / "compiler" / "kerfwave", (ROOT / page).parent)
    for name in re.findall(r"`([\w./-]+\.(?:py|md|yaml|json|toml|svg))`", text):
        assert name in listed() or any((home / name).exists() for home in homes), f"{page} names {name}"


def test_the_table_of_stages_is_the_one_that_runs():
    page = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("\n## How data flows\n")[1].split("\n## ")[0]
    told = {
        name: sorted(re.findall(r"`(\w+)`", inputs))
        for name, inputs in re.findall(r"^\| `(\w+)` \| ([^|]*) \|", page, re.MULTILINE)
    }
    assert told == {stage.name: sorted({text.partition(".")[0] for text in stage.inputs}) for stage in STAGES}


def test_every_check_against_the_outside_is_listed():
    page = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    there = {path.relative_to(ROOT).as_posix() for path in (ROOT / "tests" / "sources").glob("test_*.py")}
    assert there == set(re.findall(r"`(tests/sources/\w+\.py)`", page))
