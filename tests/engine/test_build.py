"""Metamorphic: what runs again after which change, and that it never matters for the outcome."""

from __future__ import annotations

import sys
import textwrap
from dataclasses import dataclass, replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kerfwave.engine import CodecError, Reason, Stage, StageError, Store, build, digest, words

toy_module = sys.modules["kerfwave_toy"]
Root, Inner, Number = toy_module.Root, toy_module.Inner, toy_module.Number
ALL = ["grow", "left", "right", "join", "label"]


def reasons(outcome, stage):
    return next(event.reasons for event in outcome.results.events if event.stage == stage)


def test_the_first_build_runs_everything_and_the_second_nothing(toy):
    first = toy.build(Root(6.0))
    assert sorted(first.ran) == sorted(ALL)
    assert set(first.words.values()) == {"made"}
    assert reasons(first, "grow") == (Reason("first"),)
    second = toy.build(Root(6))  # 6 and 6.0 are one value
    assert second.ran == []
    assert set(second.words.values()) == {"kept"}
    assert dict(second.results) == dict(first.results) == {"join": Number(5.0), "label": Number(0.0)}


def test_a_stage_runs_only_for_its_own_inputs(toy):
    toy.build(Root(6.0))
    changed = toy.build(Root(6.0, remark="a remark"))
    assert changed.ran == ["label"]
    assert changed.words == {"join": "kept", "left": "kept", "right": "kept", "grow": "kept", "label": "made"}
    assert reasons(changed, "label") == (Reason("changed", "root.remark", "", "a remark"),)


def test_the_same_outcome_stops_the_rebuild_behind_it(toy):
    toy.build(Root(6.0))
    changed = toy.build(Root(6.0, inner=Inner(parity=5)))  # grow reads root.inner, but not its parity
    assert changed.ran == ["grow"]
    assert changed.words == {"join": "kept", "left": "kept", "right": "kept", "grow": "steady", "label": "kept"}
    assert reasons(changed, "grow") == (Reason("changed", "root.inner.parity", 0, 5),)


def test_only_the_side_of_the_diamond_that_changed_runs(toy):
    toy.build(Root(6.0))
    changed = toy.build(Root(6.0, inner=Inner(size=3.0)), explain=True)
    assert changed.ran == ["grow", "right", "join"]
    assert words(reasons(changed, "right")) == "grow.halves[1] 2.0 -> 3.0"
    assert words(reasons(changed, "join")) == "right.value 5.0 -> 6.0"


def test_without_explain_only_the_name_of_an_upstream_input_is_told(toy):
    toy.build(Root(6.0))
    changed = toy.build(Root(6.0, inner=Inner(size=3.0)))
    assert words(reasons(changed, "join")) == "right changed"
    assert words(reasons(changed, "grow")) == "root.inner.size 2.0 -> 3.0"


def test_going_back_recalls_what_was_made_then(toy):
    first = toy.build(Root(6.0))
    toy.build(Root(9.0))
    back = toy.build(Root(6.0))
    assert back.ran == []
    assert dict(back.results) == dict(first.results)
    assert back.words["grow"] == "recalled"
    assert reasons(back, "grow") == (Reason("changed", "root.size", 9.0, 6.0),)


def test_labels_are_compared_with_their_own_last_build(toy):
    toy.build(Root(6.0), label="one")
    other = toy.build(Root(6.0, maybe=Inner()), label="two")
    assert other.ran == []  # the cache is shared ...
    assert reasons(other, "grow") == (Reason("first"),)  # ... and the story is not
    assert set(toy.build(Root(6.0), label="one").words.values()) == {"kept"}


def test_only_what_is_wanted_runs(toy):
    assert toy.build(Root(6.0), want=["left"]).ran == ["grow", "left"]
    results = toy.build(Root(6.0), want=["left"]).results
    assert list(results) == ["left"]
    assert len(results) == 1
    with pytest.raises(KeyError):
        results["grow"]
    assert results.digest("left") == digest(Number(0.0))


def test_a_recalled_value_is_not_read_unless_needed(toy, monkeypatch):
    toy.build(Root(6.0))
    read = []
    plain = Store.get_object
    monkeypatch.setattr(Store, "get_object", lambda self, digest: read.append(digest) or plain(self, digest))
    results = toy.build(Root(6.0)).results
    assert read == [results.digest("join"), results.digest("label")]


def test_a_value_that_was_made_is_the_one_that_will_be_recalled(toy):
    """What a stage hands on is coerced to the declared types before anybody sees it."""
    results = toy.build(Root(7), want=["left"]).results
    assert type(results["left"].value) is float


def test_a_recalled_stage_tells_and_runs_nothing_by_progress(toy):
    events = toy.build(Root(6.0)).events
    told = [(event.word, event.fraction, event.text) for event in events if event.stage == "right"]
    assert told == [("started", None, ""), ("progress", 0.5, "half way"), ("made", None, "")]


def test_a_failing_stage_stops_the_build_and_says_where(toy):
    toy.build(Root(6.0))
    events = []
    with pytest.raises(StageError) as caught:
        build(toy_module.STAGES, {"root": Root(-1.0)}, Store(toy.folder), want=["join"], listener=events.append)
    assert caught.value.stage == "grow"
    assert caught.value.where == ("size",)
    last = {event.stage: event.word for event in events}
    assert last == {"grow": "stopped", "left": "waiting", "right": "waiting", "join": "waiting"}
    assert toy.build(Root(6.0)).ran == []


def test_what_was_made_before_a_failure_is_not_made_again(toy):
    def fails(a, b):
        raise StageError("no")

    table = [stage for stage in toy_module.STAGES if stage.name != "join"]
    with pytest.raises(StageError):
        toy.build(Root(6.0), stages=[*table, Stage("join", fails, Number, ("left", "right"))], want=["join"])
    assert toy.build(Root(6.0), want=["join"]).ran == ["join"]


def test_an_unexpected_error_is_let_through_and_told(toy):
    def breaks():
        raise ZeroDivisionError

    events = []
    with pytest.raises(ZeroDivisionError):
        build([Stage("a", breaks, Number)], {}, Store(None), want=["a"], listener=events.append)
    assert [event.word for event in events] == ["started", "stopped"]


def test_an_output_of_another_type_is_refused(toy):
    with pytest.raises(CodecError, match=r"output of stage 'a'.*expected Number, got float"):
        build([Stage("a", lambda: 1.0, Number)], {}, Store(None), want=["a"])


def test_a_changed_table_is_a_reason_too(toy):
    toy.build(Root(6.0), want=["label"])
    wider = Stage("label", inputs=("root.remark", "root.size"), run=lambda remark, size: Number(size), output=Number)
    outcome = toy.build(Root(6.0), stages=[wider], want=["label"])
    assert reasons(outcome, "label")[0] == Reason("added", "root.size")
    narrower = Stage("label", inputs=("root.size",), run=lambda size: Number(size), output=Number)
    outcome = toy.build(Root(6.0), stages=[narrower], want=["label"])
    assert reasons(outcome, "label")[0] == Reason("removed", "root.remark")


def test_without_a_cache_everything_runs_each_time():
    toy_module.RAN.clear()
    for _ in range(2):
        results = build(toy_module.STAGES, {"root": Root(6.0)}, Store(None), want=["join"])
        assert results["join"] == Number(5.0)
    assert toy_module.RAN.count("join") == 2


roots = st.builds(
    Root,
    st.integers(0, 3).map(float),
    st.sampled_from(["", "x"]),
    st.builds(Inner, st.integers(0, 1).map(float), st.integers(0, 1)),
)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(roots, min_size=2, max_size=4))
def test_whatever_came_before_the_outcome_is_that_of_a_fresh_build(toy, walk):
    for root in walk:
        fresh = build(toy_module.STAGES, {"root": root}, Store(None), want=["join", "label"])
        warm = toy.build(root)
        assert dict(warm.results) == dict(fresh)
        assert warm.results.digest("join") == fresh.digest("join")
        assert toy.build(root).ran == []


MODULE = """
    from __future__ import annotations
    from dataclasses import dataclass
    from {package} import helper

    @dataclass(frozen=True)
    class Out:
        value: float

    def run(size):
        return Out(helper.double(size))
"""


@dataclass(frozen=True, slots=True)
class Size:
    size: float


def test_code_is_an_input(toy, tmp_path, monkeypatch):
    package = "kerfwave_toy_code"
    folder = tmp_path / package
    folder.mkdir()
    (folder / "__init__.py").write_text("")
    (folder / "unused.py").write_text("1\n")
    (folder / "stage.py").write_text(textwrap.dedent(MODULE.format(package=package)))
    (folder / "helper.py").write_text("def double(x):\n    return 2 * x\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    table = [Stage("a", run=f"{package}.stage:run", output=f"{package}.stage:Out", inputs=("root.size",))]

    def again():
        return toy.build(Size(2.0), stages=table, want=["a"])

    try:
        assert again().words == {"a": "made"}
        assert again().words == {"a": "kept"}
        (folder / "unused.py").write_text("2\n")
        assert again().words == {"a": "kept"}
        (folder / "helper.py").write_text("def double(x):\n    return x + x\n")
        outcome = again()
        assert outcome.words == {"a": "steady"}
        assert words(reasons(outcome, "a")) == f"code changed: {package}.helper"
    finally:
        for name in [name for name in sys.modules if name.startswith(package)]:
            del sys.modules[name]


def test_a_stage_that_need_not_run_is_not_even_imported(toy, tmp_path, monkeypatch):
    package = "kerfwave_toy_lazy"
    folder = tmp_path / package
    folder.mkdir()
    (folder / "__init__.py").write_text("")
    (folder / "helper.py").write_text("def double(x):\n    return 2 * x\n")
    (folder / "stage.py").write_text(textwrap.dedent(MODULE.format(package=package)))
    monkeypatch.syspath_prepend(str(tmp_path))
    inner = Stage("a", run=f"{package}.stage:run", output=f"{package}.stage:Out", inputs=("root.size",))
    outer = Stage("b", run=lambda value: Number(value), output=Number, inputs=("a.value",))
    try:
        toy.build(Size(2.0), stages=[inner, outer], want=["b"])
        for name in [name for name in sys.modules if name.startswith(package)]:
            del sys.modules[name]
        assert toy.build(Size(2.0), stages=[inner, outer], want=["b"]).results["b"] == Number(4.0)
        assert f"{package}.stage" not in sys.modules
    finally:
        for name in [name for name in sys.modules if name.startswith(package)]:
            del sys.modules[name]


def test_a_root_value_may_be_replaced_by_an_equal_one(toy):
    toy.build(Root(6.0))
    assert toy.build(replace(Root(1.0), size=6.0)).ran == []
