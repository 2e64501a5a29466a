"""What figures are called in the pictures of an exploration."""

import pytest

from kerfwave.explore import table


@pytest.mark.parametrize(
    ("figure", "said"),
    [("bass", "bass, dB"), ("mouth", "mouth, m/s"), ("below-relief", "below relief, mm"), ("sheets", "sheets"),
     ("spread", "spread, share"), ("glue", "glue, mm²"), ("panel-mode", "panel mode, Hz")],
)  # fmt: skip
def test_figures_have_their_units(figure, said):
    assert table.label(figure) == said


def test_every_unit_is_written_as_it_is_in_print():
    printed = {"dB", "mm", "m/s", "%", "share", "mm²", "Hz", "L", "h"}
    assert {table.SIGNS.get(unit, unit) for unit in table.UNITS.values()} == printed
