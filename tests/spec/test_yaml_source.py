import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.spec import yaml_source
from kerfwave.spec.scalars import Refusal, plain
from kerfwave.spec.yaml_source import Span, read


@pytest.fixture(params=["C scanner", "Python scanner"])
def scanner(request, monkeypatch):
    """The C scanner is not built everywhere; both must do."""
    monkeypatch.setattr(yaml_source, "_PARSER", yaml.SafeLoader if request.param[0] == "P" else yaml.CSafeLoader)


@pytest.mark.usefixtures("scanner")
def test_plain_data_and_the_place_of_everything():
    source = read(b"a: 1\nb:\n  - x\n  - {c: 'd e', f: 2.5}\n", "s")
    assert source.findings == ()
    assert source.data == {"a": 1, "b": ["x", {"c": "d e", "f": 2.5}]}
    assert source.span(("a",)) == Span(1, 4, 1)
    assert source.span(("b",), "key") == Span(2, 1, 1)
    assert source.span(("b", 0)) == Span(3, 5, 1)
    assert source.span(("b", 1, "c")) == Span(4, 9, 5)
    assert source.span(("b", 1, "f"), "key") == Span(4, 16, 1)
    assert source.span(("b", 1, "missing")) == Span(4, 5, 1)
    assert source.span(("b", 7)) == Span(2, 1, 1)


@pytest.mark.usefixtures("scanner")
@pytest.mark.parametrize(
    ("raw", "line", "column"),
    [
        pytest.param(b"a: 1\r\nb: no\r\n", 2, 4, id="CRLF"),
        pytest.param(b"a: 1\rb: no\r", 2, 4, id="CR"),
        pytest.param(b"\xef\xbb\xbfa: no\n", 1, 4, id="BOM"),
        pytest.param(b"\xef\xbb\xbfa: 1\r\nb: no\n", 2, 4, id="BOM and CRLF"),
        pytest.param(b'"x\ty": no\n', 1, 8, id="tab"),
        pytest.param("日本: no\n".encode(), 1, 5, id="wide"),
        pytest.param("😀: no\n".encode(), 1, 4, id="beyond the BMP"),
        pytest.param("a: [é, no]\n".encode(), 1, 8, id="flow"),
        pytest.param(b"a: 1\n\n# no\n\nb: no", 5, 4, id="no final newline"),
    ],
)
def test_lines_and_columns_are_those_of_an_editor(raw, line, column):
    (finding,) = read(raw, "s").findings
    assert (finding.code, finding.line, finding.column, finding.length) == ("K112", line, column, 2)
    assert finding.source_line[column - 1 : column + 1] == "no"


@pytest.mark.usefixtures("scanner")
@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("a: &x 1\nb: *x", ["K111", "K111"]),
        ("a: &x [1]\nb: [*x, *x]", ["K111", "K111", "K111"]),
        ("a: {<<: {b: 1}, c: 2}", ["K111"]),
        ("*x : 1", ["K111"]),
        ("a: !!python/object/apply:os.system [ls]", ["K110"]),
        ("a: ! 1", ["K110"]),
        ("!!map {a: 1}", ["K110"]),
        ("a: 1\na: 2\nb: {c: 1, 'c': 2}", ["K109", "K109"]),
        ("? [a, [b]]\n: {c: [d]}\nb: 1", ["K115"]),
        ("? {a: 1}\nb: 1", ["K115"]),
        ("a: 1\n---\nb: 1", ["K108"]),
        ("a: .nan\nb: -.INF\nc: 1.0e+999", ["K113", "K113", "K113"]),
        ("a: " + "9" * 5000, ["K113"]),
        ("a: " + "[" * 40, ["K114"]),
        ("a:\n" + "".join(" " * i + "-\n" for i in range(1, 60)), ["K114"]),
        ("a: [1, 2", ["K105"]),
        ("a: 'x", ["K105"]),
        ("a: b: c", ["K105"]),
        ("\ta: 1", ["K105"]),
        ("%YAML 3.0\n---\na: 1", ["K105"]),
        ("", ["K106"]),
        ("# only\n", ["K106"]),
        ("---\n", ["K106"]),
        ("just text", ["K107"]),
        ("3", ["K107"]),
        ("- a", ["K107"]),
        ('a: "\\u202e"', ["K116"]),
        ('a: "\\0"', ["K116"]),
        ("a: \x01\nb: \u2028\nc: \u202e\nd: \x85\ne: \ufdd0", ["K104"] * 5),
    ],
)
def test_what_is_refused(text, codes):
    assert [finding.code for finding in read(text.encode(), "s").findings] == codes


@pytest.mark.usefixtures("scanner")
def test_escapes_beyond_unicode_are_a_finding():
    assert [f.code for f in read(b'a: "\\UFFFFFFFF"', "s").findings] == ["K105"]


@pytest.mark.usefixtures("scanner")
def test_a_refused_key_takes_its_value_with_it_and_nothing_else():
    source = read(b"a: 1\na: {x: [1, {y: 2}]}\n[p]: [q, {r: s}]\nb: [3]\n", "s")
    assert source.data == {"a": 1, "b": [3]}


@pytest.mark.parametrize("text", ["a\nb: 1", "x: é", "k: 日本 text"])
def test_not_utf8_says_where(text):
    raw = text.encode() + b"\xff"
    (finding,) = read(raw, "s").findings
    lines = text.split("\n")
    assert (finding.code, finding.line, finding.column) == ("K103", len(lines), len(lines[-1]) + 1)


def test_utf16_is_named():
    (finding,) = read("a: 1".encode("utf-16"), "s").findings
    assert "UTF-16" in finding.why


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1", 1), ("-12", -12), ("+3", 3), ("0", 0), ("2.5", 2.5), (".5", 0.5), ("5.", 5.0), ("1.5e-3", 0.0015),
        ("true", True), ("false", False), ("", None), ("~", None), ("null", None), ("y", "y"), ("n", "n"),
        ("2025-03-01", "2025-03-01"), ("12 mm", "12 mm"), ("3,5", "3,5"), ("M4", "M4"), ("-", "-"), ("...x", "...x"),
        ("G0 X0", "G0 X0"), ("1.2.3", "1.2.3"), ("Norway", "Norway"),
    ],
)  # fmt: skip
def test_plain_scalars_that_are_taken(text, value):
    assert plain(text) == value
    assert type(plain(text)) is type(value)


@pytest.mark.parametrize(
    ("text", "code", "hint"),
    [
        ("yes", "K112", "true"), ("No", "K112", "false"), ("ON", "K112", "true"), ("off", "K112", "false"),
        ("True", "K112", "true"), ("FALSE", "K112", "false"), ("4:30", "K112", "a plain number"),
        ("010", "K112", "10"), ("0x1F", "K112", "a plain number"), ("0o17", "K112", "a plain number"),
        ("1e3", "K112", "1000"), ("1.5e3", "K112", "1500"), ("2e-3", "K112", "0.002"), ("1_000", "K112", "1000"),
        (".inf", "K113", "a number"), (".NaN", "K113", "a number"), ("1e999", "K113", "a number"),
    ],
)  # fmt: skip
def test_plain_scalars_that_readers_differ_about(text, code, hint):
    refusal = plain(text)
    assert isinstance(refusal, Refusal)
    assert refusal.code == code
    assert refusal.hint.startswith(hint)


@given(st.one_of(st.from_regex(r"[-+0-9._:eExob]{1,10}", fullmatch=True), st.text(min_size=1, max_size=12)))
def test_a_plain_scalar_never_means_another_number_than_pyyaml_reads(text):
    """Where PyYAML (YAML 1.1) reads a number, we read the same one, or refuse; dates stay text."""
    value = plain(text)
    try:
        theirs = yaml.safe_load(text)
    except (yaml.YAMLError, ValueError):
        return
    if isinstance(value, int | float) and isinstance(theirs, int | float):
        assert value == theirs
    elif isinstance(theirs, int | float):
        assert isinstance(value, Refusal)
