import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.cut.order import nearest_neighbour, total_um, tour

HOME = np.array([(0.0, 0.0)])


@st.composite
def problems(draw, most=14):
    count = draw(st.integers(1, most))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    entries = [rng.uniform(0, 400, 2) + rng.uniform(-20, 20, (rng.integers(1, 7), 2)) for _ in range(count)]
    # A parent has a larger index: no cycles.
    parents = [int(rng.integers(i + 1, count)) if i + 1 < count and rng.random() < 0.5 else None for i in range(count)]
    shuffle = rng.permutation(count)
    back = np.argsort(shuffle)
    return [entries[i] for i in shuffle], [None if parents[i] is None else int(back[parents[i]]) for i in shuffle]


@settings(max_examples=60)
@given(problems())
def test_every_contour_once_children_first_no_longer_than_nearest_neighbour_and_always_the_same(problem):
    entries, parents = problem
    found = tour(entries, parents)
    assert sorted(c for c, _ in found) == list(range(len(entries)))
    place = {c: k for k, (c, _) in enumerate(found)}
    assert all(p is None or place[c] < place[p] for c, p in enumerate(parents))
    assert all(0 <= k < len(entries[c]) for c, k in found)
    assert total_um(found, entries, HOME) <= total_um(nearest_neighbour(entries, parents, HOME), entries, HOME)
    assert tour(entries, parents) == found


@settings(max_examples=25)
@given(problems(most=6))
def test_close_to_the_best_of_all_orders_and_entries(problem):
    """Against brute force over every legal order and every entry: seldom off, and never by more than a quarter."""
    entries, parents = problem
    best = min(
        total_um(list(zip(order, chosen, strict=True)), entries, HOME)
        for order in itertools.permutations(range(len(entries)))
        if all(p is None or order.index(c) < order.index(p) for c, p in enumerate(parents))
        for chosen in _some(order, entries)
    )
    assert best <= total_um(tour(entries, parents), entries, HOME) <= 1.25 * best + 1


def _some(order, entries):
    """Exact choice of entries for one order, by dynamic programming with plain loops."""
    states = [((), 0.0, (0.0, 0.0))]
    for contour in order:
        following = []
        for k, point in enumerate(entries[contour]):
            chosen, length, _ = min(
                ((c, d + np.hypot(*(point - np.array(p))), p) for c, d, p in states), key=lambda s: s[1]
            )
            following.append(((*chosen, k), length, tuple(point)))
        states = following
    yield min(states, key=lambda s: s[1] + np.hypot(*s[2]))[0]


def test_nothing_to_do():
    assert tour([], []) == ()


def test_a_row_is_walked_along():
    entries = [np.array([(x, 10.0)]) for x in (50.0, 10.0, 40.0, 20.0, 30.0)]
    assert [c for c, _ in tour(entries, [None] * 5)] in ([1, 3, 4, 2, 0], [0, 2, 4, 3, 1])
