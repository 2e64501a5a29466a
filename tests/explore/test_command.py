"""The commands that build many specs: a table of variants, and specs side by side."""

from __future__ import annotations

import csv
from xml.etree import ElementTree

import pytest

from conftest import DEMO
from kerfwave.cli import main
from kerfwave.explore.table import Row
from kerfwave.explore_jobs import _pictures
from kerfwave.writers.explored import Dot, scatter

VARY = ["--vary", "target.level_db=80,95", "--vary", "driver.sd_cm2=22,0.1"]


@pytest.fixture(scope="module")
def explored(tmp_path_factory):
    """The same table made by one process and by two, each with a cache of its own."""
    found = []
    for jobs in ("1", "2"):
        out = tmp_path_factory.mktemp("out")
        assert main(["explore", str(DEMO), *VARY, "--jobs", jobs, "--out", str(out)]) == 0
        found.append(out / "explore-listening-post")
    return found


def test_a_row_a_variant_and_what_is_wrong_with_it(explored):
    rows = list(csv.DictReader((explored[0] / "table.csv").read_text("utf-8").splitlines()))
    assert [row["variant"] for row in rows] == ["1", "2", "3", "4"]
    assert [row["verdict"] for row in rows] == ["kept", "refused", "fails", "refused"]
    assert float(rows[0]["level_db"]) >= 80 and "95 dB asked" in rows[2]["note"]
    assert all(row["note"] and not row["level_db"] for row in rows[1::2])


def test_it_does_not_matter_who_made_the_rows(explored):
    one, two = ({p.relative_to(root): p.read_bytes() for p in root.rglob("*") if p.is_file()} for root in explored)
    assert one == two


def test_a_variant_can_be_checked_as_it_lies_there(explored, tmp_path):
    spec = explored[0] / "variants/1/listening-post.yaml"
    assert main(["check", str(spec), "--out", str(explored[0].parent)]) == 0


def test_the_page_is_whole_and_its_picture_too(explored):
    page = (explored[0] / "table.html").read_text("utf-8")
    assert page.count("<tr>") == 5 and "src=" not in page and "href=" not in page
    picture = page[page.index("<svg") : page.index("</svg>") + 6]
    assert len(list(ElementTree.fromstring(picture).iter("{http://www.w3.org/2000/svg}circle"))) == 1


def test_if_nothing_can_be_built_the_reason_is_told(tmp_path, capsys):
    assert main(["explore", str(DEMO), "--vary", "enclosure.depth_mm=160", "--out", str(tmp_path)]) == 1
    assert "the first: unknown key 'depth_mm' in enclosure" in capsys.readouterr().err


def test_without_a_plot_asked_for_the_first_usual_one_with_figures_is_drawn(capsys):
    rows = [Row(1, (), "kept", (("relief", 1.5), ("level", 83.0)))]
    ((caption, _),) = _pictures(None, (), rows)
    assert caption == "level, dB over relief, dB"
    assert _pictures("relief,bass", (), rows) == [] and "relief,bass" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ["--vary", "drive.volts=2..1/3"],
        ["--vary", "drive.volts=1..2"],
        ["--vary", "nothing.here[0]=1"],
        ["--vary", "drive.volts=1", "--sample", "0"],
        ["--vary", "drive.volts=1", "--plot", "relief"],
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(words, tmp_path, capsys):
    assert main(["explore", str(DEMO), *words, "--out", str(tmp_path / "out")]) == 2
    assert "nothing was written" in capsys.readouterr().err
    assert not (tmp_path / "out/explore-listening-post").exists()


def test_marks_lie_inside_the_frame_even_for_one_value():
    drawn = scatter([Dot(1, 3.0, 3.0, True), Dot(2, 3.0, 3.0, False)], x_label="x", y_label="y")
    assert ">1, 2</text>" in drawn  # in one place, so under one name
    apart = scatter([Dot(1, 3.0, 3.0, True), Dot(2, 4.0, 3.0, True)], x_label="x", y_label="y")
    assert ">1</text>" in apart and ">2</text>" in apart
    circle = next(ElementTree.fromstring(drawn).iter("{http://www.w3.org/2000/svg}circle"))
    assert 62 < float(circle.get("cx")) < 548 and 34 < float(circle.get("cy")) < 354
    with pytest.raises(ValueError, match="finite"):
        scatter([Dot(1, float("nan"), 3.0, True)], x_label="x", y_label="y")


def test_specs_side_by_side_say_and_do_what_they_do_one_after_another(shelf_copy, tmp_path, capfd):
    for name in ("broken", "worse"):
        (shelf_copy / f"{name}.yaml").write_text("format: 1\nname: [\n", "utf-8")
    specs = [str(shelf_copy / f"{name}.yaml") for name in ("worse", "listening-post", "broken")]
    said = []
    for jobs in ("2", "1"):
        assert main(["check", *specs, "--jobs", jobs, "--out", str(tmp_path / jobs)]) == 2
        said.append(capfd.readouterr())
    assert said[0] == said[1] and "broken.yaml:3" in said[0].err and said[0].out.count(" level: ") == 1
