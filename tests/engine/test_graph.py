from __future__ import annotations

import functools

import pytest

from kerfwave.engine import GraphError, Stage
from kerfwave.engine.graph import Ref, plan


def stage(name, *inputs):
    return Stage(name, run=len, output=int, inputs=inputs)


def names(stages):
    return [stage.name for stage in stages]


def test_a_stage_comes_after_what_it_feeds_on_and_else_in_the_order_of_the_table():
    table = [stage("d", "b", "c"), stage("c", "a"), stage("b", "a"), stage("a", "root"), stage("e")]
    assert names(plan(table, ["root"], ["d", "e"])) == ["a", "b", "c", "d", "e"]


def test_only_what_is_wanted_is_planned():
    table = [stage("a"), stage("b", "a.x.y"), stage("c", "b"), stage("d")]
    assert names(plan(table, [], ["b"])) == ["a", "b"]


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ([stage("a"), stage("a")], "two stages are called 'a'"),
        ([stage("root")], "'root' is both a stage and a root value"),
        ([stage("A b")], "'A b' is no name for a stage"),
        (
            [stage("body"), stage("a", "bdoy.air")],
            "stage 'a' asks for 'bdoy.air', which nobody makes; did you mean 'body'?",
        ),
        ([stage("a", "c"), stage("b", "a.x"), stage("c", "b")], "stages feed on each other: a -> c -> b -> a"),
        ([stage("a", "a")], "stages feed on each other: a -> a"),
        ([Stage("a", functools.partial(len), int)], "stage 'a': its function must be a plain one"),
    ],
)
def test_a_table_that_does_not_hang_together_is_refused(table, message):
    with pytest.raises(GraphError) as caught:
        plan(table, ["root"], [])
    assert message in str(caught.value)


def test_an_unknown_wish_is_refused():
    with pytest.raises(GraphError, match="no stage is called 'slice'; did you mean 'slices'"):
        plan([stage("slices")], [], ["slice"])


def test_functions_and_types_are_found_by_name_when_needed():
    found = Stage("a", run="json:dumps", output="fractions:Fraction")
    assert found.function()(1) == "1"
    assert found.output_type().__name__ == "Fraction"
    for text, message in (("json", "not of the form"), ("json:no_such", "there is no 'no_such' in json")):
        with pytest.raises(GraphError, match=message):
            Stage("a", run=text, output=int).function()


def test_a_projection_goes_through_none_and_complains_about_an_unknown_field():
    ref = Ref.parse("spec.room.extraction")
    assert ref.of({"room": {"extraction": 3}}) == 3
    assert ref.of({"room": None}) is None
    with pytest.raises(GraphError, match=r"'spec.room.extraction': there is no field 'extraction' \(there is width\)"):
        ref.of({"room": {"width": 3}})
