"""What is to be varied: read, spread out, drawn, and written into specs of their own."""

from __future__ import annotations

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from conftest import DEMO
from kerfwave.explore.table import Row, csv_of
from kerfwave.explore.variants import variants
from kerfwave.explore.vary import Vary, VaryError, grid, read_vary, sample
from kerfwave.spec import load


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("drive.volts=1,2.5", (1, 2.5)),
        ("driver=drivers/a.yaml, drivers/b.yaml", ("drivers/a.yaml", "drivers/b.yaml")),
        ("checks.field=true,false", (True, False)),
        ("enclosure.plan.depth_mm=200..212/4", (200, 204, 208, 212)),
        ("machine.skew_deg=-0.5..0.5/3", (-0.5, 0, 0.5)),
        ("room.air_changes_per_h=null,0.5", (None, 0.5)),
    ],
)
def test_what_is_written_is_what_is_varied(text, values):
    found = read_vary(text)
    assert found.values == values and [type(v) for v in found.values] == [type(v) for v in values]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("drive.volts", "KEY=VALUES"),
        ("../etc=1", "KEY=VALUES"),
        ("drive.volts=", "a value is missing"),
        ("drive.volts=1,,2", "a value is missing"),
        ("drive.volts=1,1", "twice"),
        ("drive.volts=2..1/3", "does not rise"),
        ("drive.volts=1..2/1", "2 to"),
        ("drive.volts=a..b/3", "no number"),
        ("checks.field=yes,no", "two ways"),
        ("drive.volts=.nan", "two ways, or in none"),
    ],
)
def test_what_cannot_be_read_is_told(text, what):
    with pytest.raises(VaryError, match=what):
        read_vary(text)


def test_a_grid_takes_every_combination_once_and_a_range_needs_its_steps():
    a, b = read_vary("drive.volts=1,2"), read_vary("target.ripple_db=5,6,7")
    assert grid((a, b)) == ((1, 5), (1, 6), (1, 7), (2, 5), (2, 6), (2, 7))
    with pytest.raises(VaryError, match="how many steps"):
        grid((read_vary("drive.volts=1..2"),))
    with pytest.raises(VaryError, match="varied twice"):
        grid((a, a))
    with pytest.raises(VaryError, match="too many"):
        grid((Vary("a", tuple(range(200))), Vary("b", tuple(range(200)))))


@given(st.integers(0, 2**31), st.integers(1, 60))
def test_a_sample_stays_in_its_ranges_and_its_seed_decides(seed, count):
    varied = (read_vary("drive.volts=1..2"), read_vary("enclosure.stack=upright,facing"))
    rows = sample(varied, count, seed)
    assert len(rows) == count and all(1 <= volts <= 2 and stack in ("upright", "facing") for volts, stack in rows)
    assert rows == sample(varied, count, seed)


def test_a_variant_is_a_spec_that_needs_no_shelf(tmp_path):
    varied = [
        read_vary("driver.fs_hz=101,108"),
        read_vary("driver=drivers/invented-57-wideband.yaml"),
        read_vary("recipes[0].feed_mm_min=222"),
        read_vary("checks.field=false"),
    ]
    made = variants(DEMO, varied, grid(varied))
    assert [one.number for one in made] == [1, 2]
    here = load(DEMO).spec
    for one, fs in zip(made, (101, 108), strict=True):
        folder = tmp_path / str(one.number)
        for name, text in one.files:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(text, "utf-8")
        spec = load(folder / DEMO.name).spec
        assert (spec.driver.fs_hz, spec.driver.name) == (fs, "Invented 57 mm wide-band driver")
        assert (spec.recipes[0].feed_mm_min, spec.checks.field) == (222, False)
        assert (spec.recipes[1:], spec.stock, spec.machine) == (here.recipes[1:], here.stock, here.machine)


def test_a_variant_that_varies_nothing_is_the_spec_itself(tmp_path):
    varied = [read_vary("target.ripple_db=7")]
    (one,) = variants(DEMO, varied, grid(varied))
    for name, text in one.files:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, "utf-8")
    assert load(tmp_path / DEMO.name).spec == load(DEMO).spec
    assert yaml.safe_load(one.files[0][1])["driver"]["fs_hz"] == 105


@pytest.mark.parametrize("text", ["recipes[99].feed_mm_min=1", "recipes.x=1", "driver=drivers/none.yaml"])
def test_a_key_that_leads_nowhere_is_told(text):
    varied = [read_vary(text)]
    with pytest.raises(VaryError):
        variants(DEMO, varied, grid(varied))


def test_no_cell_of_the_table_becomes_a_formula():
    rows = [Row(1, ("=1+1",), "refused", (), "@SUM(A1)"), Row(2, ("a,b",), "kept", (("level", -3.25),), "")]
    assert csv_of(["driver"], rows).splitlines() == [
        "variant,verdict,driver,level_db,note",
        "1,refused,'=1+1,,'@SUM(A1)",
        '2,kept,"a,b",-3.25,',
    ]
