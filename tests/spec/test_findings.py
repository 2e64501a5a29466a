import unicodedata

from hypothesis import example, given
from hypothesis import strategies as st

from kerfwave.findings import Finding, SpecError, in_order, quoted, render, visible


def _finding(line: str, column: int, length: int = 1, **more) -> Finding:
    return Finding("K204", "error", "spec.yaml", 3, column, "fact", source_line=line, length=length, **more)


def _mark(line: str, column: int, length: int = 1) -> tuple[str, str]:
    _, shown, mark = render([_finding(line, column, length)]).split("\n")
    return shown[len("      3 | ") :], mark[len("        | ") :]


def test_all_parts_of_a_finding_are_shown():
    text = render([_finding("  sd_cm2: 0.0022", 11, 6, why="reason", hint="action")])
    assert text == (
        "spec.yaml:3:11 error K204 fact\n"
        "      3 |   sd_cm2: 0.0022\n"
        "        |           ^^^^^^\n"
        "   why  reason\n"
        "   try  action"
    )


def test_colour_adds_signs_and_takes_nothing_away():
    finding = _finding("a: 1", 4, why="reason")
    painted = render([finding], colour=True)
    assert "\x1b[" in painted
    for sign in ("\x1b[1;31m", "\x1b[1;33m", "\x1b[1;36m", "\x1b[0m"):
        painted = painted.replace(sign, "")
    assert painted == render([finding])


def test_a_tab_is_as_wide_under_the_mark_as_above_it():
    assert _mark("a\tb: 12", 6, 2) == ("a   b: 12", "       ^^")


def test_wide_characters_take_two_cells_and_combining_ones_none():
    assert _mark("日本: 12", 5, 2) == ("日本: 12", "      ^^")
    assert _mark("日本: 12", 1, 2) == ("日本: 12", "^^^^")
    assert _mark("e\u0301: 12", 5, 2) == ("e\u0301: 12", "   ^^")


def test_a_long_line_is_cut_round_the_mark():
    line = "x" * 500 + "HERE" + "y" * 500
    shown, mark = _mark(line, 501, 4)
    assert len(shown) < 100
    assert shown[mark.index("^") : mark.rindex("^") + 1] == "HERE"


def test_control_characters_are_made_visible():
    assert visible("a\x1b[31m\x07\x9b\u202e") == "a␛[31m␇\ufffd\ufffd"
    assert quoted("x" * 60) == f"'{'x' * 47}…'"


@given(st.text(max_size=300), st.integers(-5, 400), st.integers(-5, 400), st.text(max_size=30), st.booleans())
@example("\x00\x1b]0;title\x07", 1, 99, "\x9b", False)
def test_nothing_of_a_file_reaches_the_terminal_raw(line, column, length, words, colour):
    finding = Finding("K201", "error", words, 1, column, words, words, words, line, length)
    shown = render([finding], colour)
    if colour:
        for code in ("31", "33", "36"):
            shown = shown.replace(f"\x1b[1;{code}m", "")
        shown = shown.replace("\x1b[0m", "")
    assert not [c for c in shown if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")]
    assert shown.count("\n") <= 4


def test_findings_come_in_file_order_once_each():
    late, early = _finding("a", 9), _finding("a", 2)
    other = Finding("K101", "error", "aaa.yaml", 9, 1, "fact")
    assert in_order([late, early, other, late]) == (other, early, late)
    error = SpecError([late, early])
    assert error.findings == (early, late)
    assert str(error) == render([early, late])
