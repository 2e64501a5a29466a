import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.spec.schema_files import NAMES, schema
from kerfwave.spec.units import FAMILIES, convert, number, quantity, slip, split_key

# Exact by definition: the inch is 25.4 mm, the litre 1 dm³ (SI Brochure, 9th edition, and the international yard and
# pound agreement of 1959).


@pytest.mark.parametrize(
    ("value", "given", "wanted", "there"),
    [
        (0.0022, "m²", "cm²", 22), (1, "inches", "mm", 25.4), (1, "feet", "inches", 12), (0.001, "m³", "l", 1),
        (1, "cubic feet", "l", 28.316846592), (0.1, "mH", "H", 1e-4), (0.68, "g/cm³", "kg/m³", 680),
        (5, "mm/s", "mm/min", 300), (1.2, "mm/N", "m/N", 0.0012), (3, "mm", "mm", 3),
        (1, "cubic feet/min", "m³/h", 1.699),
    ],
)  # fmt: skip
def test_conversions(value, given, wanted, there):
    assert convert(value, given, wanted) == pytest.approx(there, rel=1e-5)


def test_other_quantities_do_not_convert():
    assert convert(1, "mm", "g") is None
    assert convert(1, "", "mm") is None


@pytest.mark.parametrize(
    ("value", "unit", "low", "high", "expected"),
    [
        (0.0022, "cm²", 2, 400, ("m²", 22)),
        (2200, "cm²", 2, 400, ("mm²", 22)),
        (0.105, "Hz", 20, 400, ("kHz", 105)),
        (0.001, "l", 0.02, 200, ("m³", 1)),
        (1000, "l", 0.02, 200, ("cm³", 1)),
        (0.0003, "mH", 0.001, 5, ("H", 0.3)),
        (0.0035, "g", 0.1, 100, ("kg", 3.5)),
        (0.0012, "mm/N", 0.02, 20, ("m/N", 1.2)),
        (0.45, "nm", 400, 1100, ("µm", 450)),
        (5500, "W", 0.3, 60, ("mW", 5.5)),
        (0.4, "mm", 100, 1500, ("m", 400)),
        (0.68, "kg/m³", 80, 2000, ("g/cm³", 680)),
        (0.9, "%", 1, 100, None),  # just below the bound: too little, not another unit
        (0.3, "%", 1, 100, ("a fraction of 1", 30)),
        (26, "mm", 30, 1500, None),
        (401, "Hz", 20, 400, None),
        (-5, "mm", 30, 1500, None),
        (0, "mm", 30, 1500, None),
        (500, "1", 0.2, 30, None),
        (1e9, "mm", 30, 1500, ("nm", 1000)),
    ],
)
def test_slips(value, unit, low, high, expected):
    found = slip(value, unit, low, high)
    if expected is None:
        assert found is None
    else:
        assert found is not None
        assert found[0] == expected[0]
        assert found[1] == pytest.approx(expected[1])


@given(st.sampled_from([(f, a, b) for f in FAMILIES for a in f for b in f]), st.floats(1e-3, 1e3))
def test_conversion_there_and_back(units, value):
    _, one, other = units
    there = convert(value, one, other)
    assert there is not None
    assert convert(there, other, one) == pytest.approx(value)


@given(st.floats(-1e9, 1e9, allow_nan=False))
def test_numbers_are_short_and_plain(value):
    text = number(value)
    assert "e" not in text.lower()
    assert float(text) == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("12 cm", (12, "cm")),
        ("3,5", (3.5, "")),
        ('2.5"', (2.5, "inches")),
        ("4 bananas", (4, "?")),
        ("x", None),
        ("", None),
    ],
)
def test_quantities_in_text(text, expected):
    assert quantity(text) == expected


def test_units_that_end_the_keys_of_the_schemas_are_read_as_the_schemas_name_them():
    for name in NAMES:
        for key, part in schema(name).get("properties", {}).items():
            stem, unit = split_key(key)
            if unit and "x-unit" in part:
                assert unit == part["x-unit"], key
                assert stem
