"""Name and digest are filled in at the very end, as text that can be nothing but text."""

import json
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.stages import labels
from kerfwave.stages.labels import Labels, filled
from kerfwave.writers.report import render_report

NAMES = st.text(st.characters(exclude_categories=("Cs", "Cn", "Cc")), min_size=1, max_size=60)


class Texts(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.text = [], ""

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, attrs))

    def handle_data(self, data):
        self.text += data


@given(NAMES)
def test_in_a_page_a_name_is_text_and_an_attribute_value(name):
    page = f'<p title="{labels.NAME}">{labels.NAME}</p>'
    read = Texts()
    read.feed(filled("guide.html", page, Labels(name, "0" * 64)))
    read.close()
    assert (read.tags, read.text) == ([("p", [("title", name)])], name)


@given(NAMES, st.text("0123456789abcdef", min_size=64, max_size=64))
def test_in_a_report_it_is_what_the_report_would_have_written(name, sha256):
    marked = render_report({"name": labels.NAME, "spec_sha256": labels.SHA256, "start": labels.SHA256_START})
    report = filled("report.json", marked, Labels(name, sha256))
    assert report == render_report({"name": name, "spec_sha256": sha256, "start": f"{sha256[:16]}…"})
    assert json.loads(report)["name"] == name


def test_other_files_have_no_marks():
    assert filled("gcode/sheet-01.nc", "G0 X1", Labels("a", "b")) == "G0 X1"
    with pytest.raises(ValueError, match=r"bom\.csv"):
        filled("bom.csv", labels.NAME, Labels("a", "b"))
