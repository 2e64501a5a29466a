"""Bill, report and words: numbers stay numbers, text stays text, and the same values give the same bytes."""

import csv
import io
import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.model.parts import Check
from kerfwave.writers.bill import COLUMNS, BillRow, render_bill, text_cell
from kerfwave.writers.report import render_report
from kerfwave.writers.words import duration, listed, mm_and_inches, plain, significant

FORMULAS = (
    '=HYPERLINK("http://example.org","x")',
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    " =1",
    "＝1",
    "x;=1+1",
    "\u200b=1",
)


def rows_of(text):
    return list(csv.reader(io.StringIO(text)))


def test_the_bill_is_a_table_with_a_header():
    text = render_bill(
        (BillRow("Plywood, 6.2 mm", 7, "sheet", 4200.04, 38.5, "body", 'so-called "B/BB"'), BillRow("Wire", 0.5, "m"))
    )
    assert text.endswith("\n") and "\r" not in text
    assert rows_of(text) == [
        list(COLUMNS),
        ["Plywood, 6.2 mm", "7", "sheet", "4200", "38.5", "body", 'so-called "B/BB"'],
        ["Wire", "0.5", "m", "", "", "", ""],
    ]


@pytest.mark.parametrize("text", FORMULAS)
def test_no_cell_becomes_a_formula(text):
    (_, row) = rows_of(render_bill((BillRow(text, -1.5, text, -2.0, None, text, text),)))
    for i in (0, 2, 5, 6):
        for cell in row[i].split(";"):
            assert cell.strip()[:1] not in tuple("=+-@＝＋－＠"), cell
    assert row[1] == "-1.5" and row[3] == "-2"  # numbers stay numbers


@given(st.text())
def test_no_text_at_all_begins_a_formula(text):
    cell = text_cell(text)
    assert cell[:1] not in tuple("=+-@\t\r\n＝＋－＠")
    assert len(rows_of(render_bill((BillRow(text, 1, ""),)))) == 2


def test_a_bill_refuses_what_is_no_number():
    with pytest.raises(ValueError, match="finite"):
        render_bill((BillRow("x", math.nan, "m"),))


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (1e-9, "0.000000001"),
        (7.2e-4, "0.00072"),
        (12.0, "12"),
        (-0.0, "0"),
        (0.1 + 0.2, "0.3"),
        (1 / 3, "0.3333333333"),
        (123456789012.0, "123456789012"),
        (99999999999.5, "100000000000"),
        (1.5e-15, "0.0000000000000015"),
        (-2.5, "-2.5"),
    ],
)
def test_numbers_of_the_report(value, text):
    assert render_report({"v": value}) == f'{{\n "v": {text}\n}}\n'


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_survive_to_ten_digits(value):
    text = render_report({"v": value})
    assert "e" not in text.replace('"v"', "")
    assert json.loads(text)["v"] == pytest.approx(value, rel=6e-10, abs=0)


words = st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=5)
json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**9), 10**9) | words,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(words, inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=50)
@given(st.dictionaries(words, json_values, max_size=5))
def test_a_report_reads_back_as_written(data):
    text = render_report(data)
    assert json.loads(text) == data
    assert text.encode() == render_report(dict(reversed(list(data.items())))).encode()


def test_a_report_takes_our_values():
    data = {
        "check": Check("web", "ok", "Narrowest web", 6.0, 3.0),
        "checks": (Check("a", "ok", "b"),),
        "array": [np.float64(0.5), np.int64(3)],
        "ring": ((0.0, 0.0), (1.5, 0.0)),
        "none": None,
        "yes": True,
        "lone": "\ud800",
        "empty": [],
    }
    text = render_report(data)
    back = json.loads(text)
    assert back["check"] == {"id": "web", "level": "ok", "text": "Narrowest web", "value": 6, "limit": 3, "at": []}
    assert back["ring"] == [[0, 0], [1.5, 0]]
    assert back["array"] == [0.5, 3] and back["yes"] is True and back["empty"] == [] and back["lone"] == "?"
    assert "  [0, 0],\n" in text  # a point a line
    text.encode()


@pytest.mark.parametrize("bad", [math.nan, math.inf, np.float64("nan")])
def test_a_report_names_the_place_of_what_is_no_number(bad):
    with pytest.raises(ValueError, match=r"report\.a\[1\]\.b: not a finite"):
        render_report({"a": [0, {"b": bad}]})


def test_a_report_refuses_what_it_can_not_say():
    for bad in ({1: 2}, {"a": {1, 2}}, {"a": b"x"}, {"a": object()}):
        with pytest.raises(TypeError, match="report"):
            render_report(bad)


@given(st.text())
def test_plain_text_is_one_line_of_printable_characters(text):
    once = plain(text)
    assert plain(once) == once
    assert "\n" not in once and "\x00" not in once and "\u202e" not in once
    once.encode()


def test_plain_text_keeps_what_people_write():
    assert plain("Lautsprecher für’s Museum, 6 µm – 日本語") == "Lautsprecher für’s Museum, 6 µm – 日本語"
    assert plain("می‌خواهم") == "می‌خواهم"
    assert plain("one\n\ttwo") == "one two"


@pytest.mark.parametrize(
    ("time_s", "text"),
    [(45, "45 s"), (60, "1 min"), (61, "2 min"), (3540, "59 min"), (3599, "1 h 00 min"), (7260, "2 h 01 min")],
)
def test_durations(time_s, text):
    assert duration(time_s) == text


def test_sizes_and_lists():
    assert mm_and_inches(6.35) == "6.35 mm (0.25 in)"
    assert significant(129912.3) == "129912" and significant(0.00012345) == "0.000123" and significant(0) == "0"
    assert [listed(x) for x in ((), ("a",), ("a", "b"), ("a", "b", "c"))] == ["", "a", "a and b", "a, b and c"]
