import math

import pytest

from kerfwave.acoustics.air import air
from kerfwave.acoustics.cases import CASES, duct_length_m
from kerfwave.spec.schema_files import schema

AIR = air()


def test_the_cases_are_those_of_the_schema():
    assert {*CASES} == {*schema("spec")["properties"]["enclosure"]["properties"]["case"]["enum"]}


def test_a_duct_is_a_lump_or_a_guide_and_never_both():
    assert duct_length_m("vented", 70.0, AIR)[1] == duct_length_m("chamber-and-guide", 70.0, AIR)[0]
    assert duct_length_m("vented", 70.0, AIR) == (0.0, pytest.approx(AIR.speed / 70 / 8))
    least, most = duct_length_m("quarter-wave", 70.0, AIR)
    assert least == pytest.approx(0.8 * AIR.speed / 70 / 4)
    assert most == math.inf
    assert duct_length_m("closed", 70.0, AIR) == (0.0, 0.0)


def test_another_case():
    with pytest.raises(ValueError, match="case is 'horn'"):
        duct_length_m("horn", 70.0, AIR)
