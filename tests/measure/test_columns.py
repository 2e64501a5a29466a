"""Plain columns: read where that is safe, refused with the line where it is not."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.measure.columns import ColumnError, read_columns, text_of

TWO = ("frequency_hz", "level_db")
THREE = ("frequency_hz", "impedance_ohm", "phase_deg")


def two(text, **more):
    return read_columns(text, name="m.txt", columns=TWO, **more)


def three(text):
    return read_columns(text, name="z.txt", columns=THREE, optional=1)


@pytest.mark.parametrize(
    "text",
    [
        "20 80.5\n50 81\n",
        "20\t80.5\r\n50\t81\r\n",
        "20,80.5\n50,81\n",
        "20, 80.5\n50 , 81",
        "20;80.5\n50;81\n",
        "20 ; 80,5\n50 ; 81\n",
        "20\t80,5\n50\t81,0\n",
        "20,0 80,5\n50,0 81,0\n",
        "\ufeffFrequency [Hz], Level [dB]\n20,80.5\n50,81\n",
        "* measured\n# at the bench\n; nobody\n// knows\nHz dB\n\n20 80.5 # first\n50 81 // last\n\n",
        "20 80.5\r50 81\r",
        "2e1 8.05E1\n5.0e+1 81.\n",
        '"20";"80,5"\n"50";"81"\n',
        "20;80,5;\n50;81;\n",
        "50 81\n20 80.5\n",
        "Sens Factor =-1.4dB, SERNO: 123\n20 80.5\n50 81\n",
    ],
)
def test_what_can_be_read_in_one_way_only_is_read(text):
    assert two(text).values == ((20.0, 50.0), (80.5, 81.0))


def test_the_optional_column_may_be_missing():
    assert three("20 6.5\n30 7.5").columns == THREE[:2]
    full = three("20 6.5 10\n30 7.5 −20")
    assert full.column("phase_deg") == (10.0, -20.0)
    assert three("20 6.5\n30 7.5").column("phase_deg") is None


def test_rows_are_put_in_order_and_keep_their_lines():
    read = two("Hz dB\n300 3\n100 1\n200 2")
    assert read.values == ((100.0, 200.0, 300.0), (1.0, 2.0, 3.0))
    assert read.lines == (3, 4, 2)
    assert any("order" in note for note in read.notes)
    assert any("1 header line" in note for note in read.notes)


def test_more_columns_than_asked_are_told():
    read = two("20 80.5 -170\n50 81.0 -160")
    assert read.values[1] == (80.5, 81.0)
    assert any("first 2 were read" in note for note in read.notes)


def test_integers_between_commas_are_read_when_the_header_says_how_many():
    assert three("hz,ohm,deg\n20,6,10\n30,7,20").values == ((20.0, 30.0), (6.0, 7.0), (10.0, 20.0))


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("", 1, "no row of numbers"),
        ("\n  \n# nothing\n", 1, "no row of numbers"),
        ("Hz dB\n", 1, "no row of numbers"),
        ("20 80\n50 loud\n", 2, "'loud' in the column level_db is no number"),
        ("20 80\n50 81dB\n", 2, "no number"),
        ("20 80\nend of file\n", 2, "no row of numbers"),
        ("20 80\n50 nan\n", 2, "not a finite number"),
        ("nan 80\n50 1\n", 1, "not a finite number"),
        ("20 1e999\n", 1, "too large"),
        ("20 80\n50\n", 2, "1 value where frequency_hz, level_db are needed"),
        ("20 80\n50 81 82\n", 2, "3 values, but 2 in line 1"),
        ("20 80\n-50 81\n", 2, "the frequency -50 Hz"),
        ("0 80\n50 81\n", 1, "the frequency 0 Hz"),
        ("20 80\n50 81\n20 82\n", 3, "stands in line 1 already"),
        ("50 80\n20 81\n20.0 82\n", 3, "stands in line 2 already"),
        ("20,5,80,5\n30,5,81,5\n", 1, "commas that may separate or be decimal"),
        ("20;80,5\n50;81.5\n", 1, "a decimal point in line 2"),
        ("1.000,5;80\n", 1, "a decimal point in the same line"),
        ("1,000;80\n2,000;81\n", 1, "may be 1000 or 1.000"),
        ("20 80\n50,81\n", 2, "not separated as the first row is"),
        ("20;80\n;81\n", 2, "a row without a frequency"),
        ("20;80;1\n50;;2\n", 2, "nothing in the column level_db"),
        ("?, 85\n20, 80\n", 1, "neither a header nor a row"),
        ("20\x0080\n", 1, "control characters"),
        ("20 80\n" + "5" * 3000, 2, "very long line"),
        ("0x20 80\n", 1, "no number"),
        ("1_000 80\n", 1, "no number"),
    ],
)
def test_what_cannot_be_read_safely_is_refused_with_its_line(text, line, says):
    with pytest.raises(ColumnError) as refused:
        two(text)
    assert refused.value.line == line
    assert says in str(refused.value)
    assert str(refused.value).startswith(f"m.txt:{line}: ")
    assert refused.value.remedy


def test_three_columns_of_integers_between_commas_could_be_two_with_decimals():
    with pytest.raises(ColumnError, match="may separate or be decimal"):
        three("20,6,10\n30,7,20")


def test_large_files_are_refused(monkeypatch):
    monkeypatch.setattr("kerfwave.measure.columns.MOST_ROWS", 1000)
    with pytest.raises(ColumnError, match="characters"):
        two("20 80\n" * 3_000_000)
    with pytest.raises(ColumnError, match="bytes"):
        text_of(b"0" * 40_000_000, name="m")
    with pytest.raises(ColumnError, match="rows"):
        two("20 80\n" * 1001)


def test_bytes_of_several_encodings_become_text():
    for encoding in ("utf-8", "utf-8-sig", "utf-16", "latin-1"):
        assert two(text_of("Phase °\n20 80\n30 81".encode(encoding), name="m")).lines == (2, 3)
    with pytest.raises(ColumnError, match="UTF-16"):
        text_of(b"\xff\xfe\x00", name="m")


numbers = st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: round(x, 6))
tables = st.lists(
    st.tuples(st.floats(0.001, 1e6).map(lambda x: round(x, 6)), numbers), min_size=1, unique_by=lambda r: r[0]
)


@given(tables, st.sampled_from([" ", "\t", ",", ";", ", ", " ; "]))
def test_what_was_written_is_read_back(rows, separator):
    rows = [(f, v) for f, v in rows if f > 0] or [(1.0, 2.0)]
    text = "".join(f"{f!r}{separator}{v!r}\n" for f, v in rows)
    assert two(text).values == tuple(zip(*sorted(rows), strict=True))


@given(tables, st.sampled_from(["\t", ";", "  "]))
def test_decimal_commas_are_read_back_or_refused_never_misread(rows, separator):
    rows = [(f, v) for f, v in rows if f > 0] or [(1.0, 2.0)]
    text = "".join(f"{f:.6f}{separator}{v:.6f}\n".replace(".", ",") for f, v in rows)
    wanted = sorted((float(f"{f:.6f}"), float(f"{v:.6f}")) for f, v in rows)
    if len({f for f, _ in wanted}) == len(wanted):
        assert two(text).values == tuple(zip(*wanted, strict=True))


@given(st.text(alphabet='0123456789.,;-+eE \t\n#naif"', max_size=60))
def test_any_text_is_read_in_order_or_refused(text):
    try:
        read = two(text)
    except ColumnError:
        return
    assert all(a < b for a, b in itertools.pairwise(read.values[0]))
    assert read.values[0][0] > 0
    assert all(math.isfinite(v) for column in read.values for v in column)
