from __future__ import annotations

import io
import re

import pytest

from kerfwave.engine import Event, Reason, TerminalListener, words
from kerfwave.engine.why import compare_values

WALL = Reason("changed", "spec.enclosure.wall_mm", 10.0, 12.0)
CODE = Reason("code", "kerfwave.body.fold")
EVENTS = (
    Event("body", "started"),
    Event("body", "progress", fraction=0.25, text="folding"),
    Event("body", "made", 0.414, (WALL, CODE)),
    Event("slices", "steady", 1.2, (Reason("changed", "body.air"),)),
    Event("nest", "kept", reasons=(Reason("nothing"),)),
    Event("recipe", "recalled", reasons=(Reason("first"),)),
    Event("paths", "stopped", 0.1, text="no room for a lead"),
    Event("package", "waiting", text="for paths"),
)
PLAIN = """\
body       made        0.41 s  spec.enclosure.wall_mm 10.0 -> 12.0, and 1 more
slices     steady      1.20 s  ran, same as before; body.air changed
nest       kept
recipe     recalled            first build
paths      stopped     0.10 s  no room for a lead
package    waiting             for paths
"""


def shown(events=EVENTS, **options):
    stream = io.StringIO()
    listener = TerminalListener(stream, **options)
    for event in events:
        listener(event)
    return stream.getvalue()


def test_plain_lines_say_one_thing_a_stage():
    assert shown() == PLAIN


def test_explain_spells_everything_out():
    text = shown(explain=True)
    assert "wall_mm 10.0 -> 12.0, code changed: kerfwave.body.fold\n" in text
    assert re.search(r"nest +kept +nothing changed", text)


def test_colour_adds_nothing_but_colour():
    coloured = shown(colour=True)
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == PLAIN


def test_a_terminal_sees_the_running_stage_and_keeps_the_last_line(monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    text = shown(live=True)
    assert re.search(r"\r\x1b\[Kbody +25% +folding\r", text)
    assert [line.rpartition("\r\x1b[K")[2] for line in text.rstrip("\n").split("\n")] == PLAIN.splitlines()
    long = Event("body", "progress", fraction=0.5, text="x" * 100)
    assert len(shown([long], live=True)) == len("\r\x1b[K") + 59


@pytest.mark.parametrize("nasty", ["\x1b[2J", "\x9b2J", "a\nb", "a\rb", "\u202eabc", "\ud800"])
def test_nothing_in_a_spec_steers_the_terminal(nasty):
    events = (
        Event("body", "made", 0.1, (Reason("changed", "spec.name", nasty, "b"), Reason("added", nasty))),
        Event("nest", "stopped", 0.1, text=nasty),
    )
    for text in (shown(events, explain=True), words(events[0].reasons, 2)):
        assert all(letter.isprintable() or letter == "\n" for letter in text)
    assert shown(events, explain=True).count("\n") == 2


def test_reasons_find_the_leaf():
    old = {"a": {"b": [1, {"c": 2.0}], "gone": 1}, "s": "x", "n": None}
    new = {"a": {"b": [1, {"c": 3.0}, 4], "new": 1}, "s": "x", "n": {"k": 1}}
    found = tuple(compare_values("spec", old, new))
    assert words(found, 9) == (
        "spec.a.b 2 -> 3 items, spec.a.b[1].c 2.0 -> 3.0, spec.a.gone is gone, spec.a.new is new, "
        "spec.n none -> (given)"
    )
    assert tuple(compare_values("spec", old, old)) == ()
    assert words(tuple(compare_values("x", 1, True))) == "x 1 -> true"


def test_the_tools_have_their_own_words():
    assert words((Reason("tool", "numpy", "2.0.0", "2.1.0"),)) == "numpy 2.0.0 -> 2.1.0"
    assert words((Reason("tool", "python", None, "cpython 3.12"),)) == "python none -> cpython 3.12"
