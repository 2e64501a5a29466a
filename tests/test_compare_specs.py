"""Compare as a person meets it: specs, git revisions, sheets already cut, and what is written in each format."""

from __future__ import annotations

import copy
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest

from kerfwave.cli import main
from kerfwave.compare import compare, load_report, render_markdown, render_page, render_text, spec_changes
from kerfwave.compare.revision import RevisionError, fetch, split
from kerfwave.engine import encode
from kerfwave.spec import load

SPECS = Path(__file__).parent.parent / "specs"
POST = "specs/listening-post.yaml"


@pytest.fixture(scope="module")
def report(demo_package):
    return load_report(demo_package)


def git(folder, *arguments):
    identity = ("-c", "user.name=x", "-c", "user.email=x@example.org", "-c", "commit.gpgsign=false")
    subprocess.run(["git", "-C", str(folder), *identity, *arguments], check=True, capture_output=True)


@pytest.fixture
def repo(tmp_path, monkeypatch):
    """Return a repository of the demo specs with one commit; the working folder is its top."""
    home = tmp_path / "repo"
    shutil.copytree(SPECS, home / "specs")
    git(tmp_path, "init", "-q", str(home))
    git(home, "add", ".")
    git(home, "commit", "-q", "-m", "first")
    monkeypatch.chdir(home)
    return home


def edit(path, old, new):
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


@pytest.mark.parametrize(
    ("file", "old", "new", "path", "a", "b"),
    [
        ("listening-post.yaml", "volts: 2.0", "volts: 1.5", "drive.volts", 2.0, 1.5),
        ("listening-post.yaml", "wall_mm: 6", "wall_mm: 7", "enclosure.wall_mm", 6.0, 7.0),
        ("listening-post.yaml", "name: Listening post, wall speaker", "name: N", "name", None, None),
        ("recipes/invented-blue-diodes.yaml", "kerf_mm: 0.22", "kerf_mm: 0.20", "kerf_mm", 0.22, 0.2),
        ("stock/birch-6.yaml", "6.27, ", "6.20, ", "stock.measured_mm", None, None),
        ("drivers/invented-75-wideband.yaml", "fs_hz: 105", "fs_hz: 104.5", "driver.fs_hz", 105.0, 104.5),
        ("listening-post.yaml", "mounting: in-wall", "mounting: on-wall", "listening.mounting", "in-wall", "on-wall"),
        ("listening-post.yaml", "ripple_db: 7", "ripple_db: 8", "target.ripple_db", 7.0, 8.0),
        ("listening-post.yaml", "bystander_m: 8", "bystander_m: 5", "room.bystander_m", 8.0, 5.0),
        ("listening-post.yaml", "depth_mm: 195", "depth_mm: 190", "enclosure.plan.depth_mm", 195.0, 190.0),
        ("listening-post.yaml", "height_mm: 89", "height_mm: 89\n  terminal_face: back", "terminal_face", None, "back"),
    ],
)  # fmt: skip
def test_kinds_of_change_are_found_in_the_spec(tmp_path, file, old, new, path, a, b):
    shutil.copytree(SPECS, tmp_path / "specs")
    before = encode(load(tmp_path / POST).spec)
    edit(tmp_path / "specs" / file, old, new)
    after = encode(load(tmp_path / POST).spec)
    (change,) = spec_changes(before, after)
    assert change.path.endswith(path)
    assert change.word == "changed"
    if b is not None:
        assert (change.a, change.b) == (a or "auto", b)
    assert spec_changes(before, before) == ()


def test_a_spec_and_itself_at_a_revision_are_the_same(repo, demo_package, capsys):
    assert main(["compare", f"{POST}@HEAD", POST, "--out", str(demo_package.parent)]) == 0
    assert "no difference" in capsys.readouterr().out


def test_a_shelf_file_of_the_revision_counts(repo, demo_package, capsys):
    """The kerf of the commit is compared with that of the working file, and nothing is checked out."""
    recipe = repo / "specs/recipes/invented-blue-diodes.yaml"
    edit(recipe, "kerf_mm: 0.22", "kerf_mm: 0.20")
    edited = recipe.read_bytes()
    out = str(demo_package.parent)
    assert main(["compare", f"{POST}@HEAD", POST, "--json", "--out", out]) == 1
    told = json.loads(capsys.readouterr().out)
    (change,) = told["spec_changes"]
    assert (change["a"], change["b"]) == (0.22, 0.2)
    assert re.search(r"recipes/invented-blue-diodes\.yaml:\d+$", change["place"])
    reached = {one["stage"]: one["word"] for one in told["reached"]}
    assert {reached["body"], reached["slices"], reached["nest"]} == {"untouched"}
    assert reached["recipe"] == reached["paths"] == "changed"
    assert {sheet["word"] for sheet in told["sheets"]} == {"usable"}
    assert told["notes"][0].startswith("kerf 0.22 -> 0.2 mm")
    assert recipe.read_bytes() == edited


def test_name_and_room_reach_only_what_they_must(repo, demo_package, capsys):
    edit(repo / POST, "name: Listening post, wall speaker", "name: '<b>@all [x](http://x.org)</b>'")
    edit(repo / POST, "bystander_m: 8", "bystander_m: 5")
    page = repo / "c.html"
    out = str(demo_package.parent)
    assert main(["compare", f"{POST}@HEAD", POST, "--format", "html", "-o", str(page), "--out", out]) == 1
    assert "<b>" not in page.read_text("utf-8")
    assert main(["compare", f"{POST}@HEAD", POST, "--out", out]) == 1
    text = capsys.readouterr().out
    assert "made something else: safety, programs\n" in text


@pytest.mark.parametrize(
    ("name", "message"),
    [
        (f"{POST}@nowhere", "there is no revision 'nowhere'"),
        (f"{POST}@--help", "there is no revision '--help'"),
        ("specs/none.yaml@HEAD", "there is no such file at HEAD"),
        ("../outside.yaml@HEAD", "it is in no git repository"),
        ("specs/link.yaml@HEAD", "or it is a link"),
    ],
)
def test_what_a_revision_does_not_have_is_said(repo, capsys, name, message):
    (repo / "specs/link.yaml").symlink_to("/etc/hostname")
    git(repo, "add", ".")
    git(repo, "commit", "-q", "-m", "link")
    (repo / "specs/link.yaml").unlink()
    assert main(["compare", name, POST, "--out", str(repo / "out")]) == 2
    assert message in capsys.readouterr().err


def test_no_git_is_said(repo, monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(RevisionError, match="git is not installed"):
        fetch(POST, "HEAD", tmp_path)


def test_a_file_with_an_at_sign_is_that_file(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert split("a.yaml@b") == ("a.yaml", "b")
    Path("a.yaml@b").touch()
    assert split("a.yaml@b") is None


def test_sheets_already_cut(report):
    assert {use.word for use in compare(report, report).sheets} == {"usable"}
    thinner = copy.deepcopy(report)
    for piece in thinner["pieces"]:
        piece["thickness_mm"] -= 0.2
    found = compare(report, thinner)
    assert {use.word for use in found.sheets} == {"not usable"}
    assert "thickness 6.3 -> 6.1 mm" in render_text(found)
    one = copy.deepcopy(report)
    one["pieces"][0]["outline"][0][0] -= 1.0
    found = compare(report, one)
    (part,) = [use for use in found.sheets if use.word != "usable"]
    assert part.word == "in part"
    assert [(use.id, use.why_not) for use in part.pieces if use.serves_as is None] == [
        ("L01", "lines moved up to 1 mm")
    ]
    assert found.to_cut == ("L01",)


def test_a_piece_under_another_number_still_serves(report):
    other = copy.deepcopy(report)
    other["pieces"][0]["id"] = "L99"
    found = compare(report, other)
    assert {use.word for use in found.sheets} == {"usable"}
    assert "write the number anew: L01 as L99" in render_text(found)


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.addresses = set(), []

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.addresses += [value for name, value in attrs if name in ("src", "href") or name.startswith("on")]


EVIL = "<script>alert(1)</script>|[x](javascript:x) ![y](//e.org) @all `c` **b** www.e.org"


def test_text_of_a_report_stays_text(report):
    other = copy.deepcopy(report)
    other["name"] = EVIL
    other["pieces"][0]["id"] = EVIL
    other["pieces"][1]["outline"][0][0] -= 1.0
    other["checks"].append({"id": EVIL, "level": "fail", "text": EVIL})
    found = compare(report, other)
    seen = Tags()
    page = render_page(found, report, other)
    seen.feed(page)
    assert not seen.tags & {"script", "img", "a", "iframe", "link"}
    assert seen.addresses == []
    assert page.count("<figure>") >= 4
    markdown = render_markdown(found)
    for live in ("<script", "[x](", "![", "@all", "`c`", "**b**", "www.", "//e"):
        assert live not in markdown, live
    for line in markdown.splitlines():
        if line.startswith("|"):
            assert len(re.findall(r"(?<!\\)\|", line)) in (4, 5), line


def test_check_as_json(tmp_path, capsys, demo_package):
    shutil.copytree(SPECS, tmp_path / "specs")
    bad = tmp_path / "specs/bad.yaml"
    bad.write_text((tmp_path / POST).read_text("utf-8").replace("ripple_db: 7", "ripple_bd: 7"), "utf-8")
    status = main(["check", "--format", "json", str(tmp_path / POST), str(bad), "--out", str(demo_package.parent)])
    told = json.loads(capsys.readouterr().out)
    assert status == told["status"] == 2
    good, wrong = told["specs"]
    assert good["status"] == 0 and {check["level"] for check in good["checks"]} <= {"ok", "warn"}
    finding = next(one for one in wrong["findings"] if "ripple_bd" in one["message"])
    assert bad.read_text("utf-8").splitlines()[finding["line"] - 1].lstrip().startswith("ripple_bd")
    assert {"file", "line", "column", "code", "level", "message", "why", "hint"} <= finding.keys()


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_knows_every_command(shell, capsys):
    assert main(["completion", shell]) == 0
    text = capsys.readouterr().out
    assert all(word in text for word in ("build", "check", "compare", "sweep", "markdown", "completion"))
    if shell == "bash":
        tail = '\nCOMP_WORDS=(kerfwave compare --format ""); COMP_CWORD=3; _kerfwave; echo "${COMPREPLY[@]}"'
        done = subprocess.run(["bash", "-c", text + tail], capture_output=True, text=True, check=True)
        assert done.stdout == "text markdown html json\n"
