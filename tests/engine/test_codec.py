from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.engine import CodecError, canonical, codec, decode, digest, encode
from kerfwave.model.acoustic import Network
from kerfwave.model.spec import Driver, Spec


@dataclass(frozen=True, slots=True)
class Leaf:
    number: float
    count: int
    flag: bool
    text: str
    raw: bytes
    side: Literal["left", "right"]
    maybe: float | None


@dataclass(frozen=True, slots=True)
class Tree:
    leaf: Leaf
    leaves: tuple[Leaf, ...]
    pair: tuple[int, str]
    rings: tuple[tuple[tuple[float, float], ...], ...]
    nothing: tuple[()]
    child: Tree | None


NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
LEAVES = st.builds(
    Leaf,
    NUMBERS,
    st.integers(),
    st.booleans(),
    st.text(st.characters(codec=None)),
    st.binary(),
    st.sampled_from(["left", "right"]),
    st.none() | NUMBERS,
)
RINGS = st.lists(st.lists(st.tuples(NUMBERS, NUMBERS), max_size=3).map(tuple), max_size=3).map(tuple)


def trees(child):
    return st.builds(
        Tree,
        LEAVES,
        st.lists(LEAVES, max_size=2).map(tuple),
        st.tuples(st.integers(), st.text()),
        RINGS,
        st.just(()),
        child,
    )


@given(st.recursive(trees(st.none()), trees, max_leaves=3))
def test_a_value_comes_back_the_same_through_bytes(value):
    raw = canonical(value)
    back = decode(Tree, codec.from_bytes(raw))
    assert back == value
    assert canonical(back) == raw
    assert raw.isascii()
    assert json.loads(raw) == encode(value)


def leaf(**changes):
    fields = {"number": 1.0, "count": 1, "flag": True, "text": "", "raw": b"", "side": "left", "maybe": None}
    return Leaf(**{**fields, **changes})


def test_a_whole_number_in_a_float_field_is_that_float():
    assert leaf(number=18) == leaf(number=18.0)
    assert digest(leaf(number=18)) == digest(leaf(number=18.0)) == digest(leaf(number=np.float32(18)))
    assert type(decode(Leaf, encode(leaf(number=18))).number) is float
    assert digest(leaf(count=np.int64(3))) == digest(leaf(count=3))


def test_minus_zero_is_a_value_of_its_own():
    back = decode(Leaf, codec.from_bytes(canonical(leaf(number=-0.0))))
    assert math.copysign(1, back.number) == -1


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_numbers_that_are_none_are_refused_with_their_place(number):
    with pytest.raises(CodecError, match=r"^leaves\[1\]\.number: not a finite number$"):
        canonical(Tree(leaf(), (leaf(), leaf(number=number)), (1, ""), (), (), None))


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"number": True}, "number: expected a number, got bool"),
        ({"number": "1"}, "number: expected a number, got str"),
        ({"count": 1.0}, "count: expected a whole number, got float"),
        ({"count": True}, "count: expected a whole number, got bool"),
        ({"flag": 1}, "flag: expected true or false, got int"),
        ({"text": 1}, "text: expected text, got int"),
        ({"raw": "x"}, "raw: expected bytes, got str"),
        ({"side": "up"}, "side: expected one of 'left', 'right'"),
        ({"maybe": 1j}, "maybe: expected a number, got complex"),
    ],
)
def test_a_value_of_another_type_is_refused(change, place):
    with pytest.raises(CodecError) as caught:
        encode(leaf(**change))
    assert str(caught.value) == place


def test_a_list_is_no_tuple_and_a_fixed_tuple_has_its_length():
    with pytest.raises(CodecError, match=r"leaves: expected a tuple, got list"):
        encode(Tree(leaf(), [leaf()], (1, ""), (), (), None))
    with pytest.raises(CodecError, match=r"pair: expected a tuple of 2"):
        encode(Tree(leaf(), (), (1, "", 2), (), (), None))
    with pytest.raises(CodecError, match=r"rings\[0\]\[1\]\[0\]: expected a number"):
        encode(Tree(leaf(), (), (1, ""), (((1, 2), ("a", 2)),), (), None))


def test_kinds_that_json_cannot_hold_are_refused():
    @dataclass
    class Open:
        value: float

    for value in (Open(1.0), [1], {"a": 1}, Fraction(1, 2), object(), {1}):
        with pytest.raises(CodecError):
            encode(value)
    with pytest.raises(CodecError, match=r"only X \| None"):
        encode(1, int | str)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data.pop("count"),
        lambda data: data.update(more=1),
        lambda data: data.update(number="1"),
        lambda data: data.update(raw="*"),
        lambda data: data.update(flag=None),
    ],
)
def test_data_of_another_shape_is_refused(spoil):
    data = encode(leaf())
    spoil(data)
    with pytest.raises(CodecError):
        decode(Leaf, data)


def test_the_shared_value_types_can_be_written():
    for model in (Spec, Network):
        assert codec._coders(model)
    driver = Driver("d", 90, 30, 4, 80, 70, 75, 40, 3, 10)
    assert decode(Driver, encode(driver)) == driver


def test_the_digest_is_the_same_in_every_process():
    code = "from kerfwave.engine import digest; print(digest((1.5, 'é', None, True)))"
    for seed in ("0", "1"):
        home = {**os.environ, "PYTHONHASHSEED": seed}
        told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=home)
        assert told.stdout.strip() == digest((1.5, "é", None, True))
