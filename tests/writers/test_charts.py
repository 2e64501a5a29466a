"""Charts: log axis where the trade has it, values where they belong, nothing drawn outside the frame."""

import itertools
import math
import re
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.writers import charts, lines
from kerfwave.writers.charts import Axis, Band, Limit, Series, line_chart

SVG = "{http://www.w3.org/2000/svg}"


def lines_of(text):
    """Return the plotted lines: points of each path of class kw-line that is not a leader (leaders are 0.8 wide)."""
    root = ElementTree.fromstring(text)
    found = []
    for path in root.iter(f"{SVG}path"):
        if "kw-line" in (path.get("class") or "") and path.get("stroke-width") != "0.8":
            found.append([(float(x), float(y)) for x, y in re.findall(r"([\d.]+) ([\d.]+)", path.get("d"))])
    return found


def labels_of(text):
    return [e.text for e in ElementTree.fromstring(text).iter(f"{SVG}text")]


def test_the_frequency_axis_is_logarithmic_with_a_1_2_5_grid():
    text = line_chart((Series("a", (20.0, 200.0, 2000.0), (0.0, 1.0, 2.0)),), title="t", y_label="y")
    (line,) = lines_of(text)
    assert [p[0] for p in line] == pytest.approx(
        [lines.LEFT, lines.LEFT + lines.PLOT_WIDTH / 2, lines.LEFT + lines.PLOT_WIDTH]
    )
    wanted = ["20", "50", "100", "200", "500", "1 k", "2 k"]
    assert [t for t in labels_of(text) if t in wanted] == wanted


def test_the_level_chart_keeps_a_decade_as_long_as_50_db(built, closed):
    text = charts.response_chart(built, closed, band=(100.0, 700.0), level_db=80.0)
    frame = next(e for e in ElementTree.fromstring(text).iter(f"{SVG}rect") if e.get("class") == "kw-ink")
    decade = float(frame.get("width")) / math.log10(2000 / 20)
    assert float(frame.get("height")) == pytest.approx(decade)  # 50 dB tall
    numbers = [int(t) for t in labels_of(text) if re.fullmatch(r"-?\d+", t) and int(t) not in (20, 50, 100, 200, 500)]
    assert set(numbers) >= {60, 70, 80, 90}


def test_values_can_be_read_back_off_the_level_chart(built):
    text = charts.response_chart(built)
    (line,) = lines_of(text)
    top = 5 * math.ceil((max(built.spl_db) + 2) / 5)
    for x, y in line[:: len(line) // 7]:
        hz = 20 * 10 ** ((x - lines.LEFT) / lines.PLOT_WIDTH * 2)
        db = top - (y - lines.TOP) / (lines.PLOT_WIDTH / 2) * 50
        nearest = min(range(len(built.frequency_hz)), key=lambda i: abs(math.log(built.frequency_hz[i] / hz)))
        assert db == pytest.approx(built.spl_db[nearest], abs=0.02)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=12))
def test_no_line_leaves_the_frame(values):
    series = Series("a", tuple(10.0 * 1.9**i for i in range(len(values))), tuple(values))
    inside = Series("in", (100.0, 900.0), (0.1, 0.9), 1)
    text = line_chart((series, inside), title="t", y_label="y", y_from=0.0, y_to=1.0)
    assert 1 <= len(lines_of(text)) <= 2
    for line in lines_of(text):
        for x, y in line:
            assert lines.LEFT - 1e-3 <= x <= lines.LEFT + lines.PLOT_WIDTH + 1e-3
            assert lines.TOP - 1e-3 <= y <= lines.TOP + 240 + 1e-3


def test_lines_differ_by_dash_as_well_as_by_colour(built, closed):
    root = ElementTree.fromstring(charts.excursion_chart(built, closed, limit_mm=2.0, relief_band=(70.0, 200.0)))
    drawn = [
        p for p in root.iter(f"{SVG}path") if "kw-line" in (p.get("class") or "") and p.get("stroke-width") != "0.8"
    ]
    assert len({p.get("stroke") for p in drawn}) == 2
    assert len({p.get("stroke-dasharray") for p in drawn}) == 2
    assert {"this body", "closed box"} <= {t.text for t in root.iter(f"{SVG}text")}


def test_names_of_lines_do_not_touch():
    ends = tuple(Series(f"line {i}", (20.0, 2000.0), (0.0, 1.0 + i * 0.001), i) for i in range(4))
    root = ElementTree.fromstring(line_chart(ends, title="t", y_label="y", y_from=0.0, y_to=20.0))
    at = sorted(float(t.get("y")) for t in root.iter(f"{SVG}text") if (t.text or "").startswith("line "))
    assert all(b - a >= 18.9 for a, b in itertools.pairwise(at))
    assert at[-1] <= lines.TOP + 240 + 5


@pytest.mark.parametrize(
    ("low", "high", "step"), [(0, 2.1, 0.5), (0, 47, 10), (-3, 7.2, 5), (0, 0.013, 0.005), (0, 260, 100)]
)
def test_steps_of_the_scale_are_1_2_5(low, high, step):
    axis = lines._axis((Series("a", (20.0, 2000.0), (low, high)),), (), "y", None, None, 20.0, 2000.0)
    assert axis.step == pytest.approx(step)
    assert axis.y_from <= low and axis.y_to >= high


def test_a_flat_line_still_makes_a_chart():
    text = line_chart((Series("flat", (20.0, 2000.0), (0.0, 0.0)),), title="t", y_label="y")
    assert len(lines_of(text)) == 1


def test_what_can_not_be_drawn_is_refused():
    with pytest.raises(ValueError, match="needs a line"):
        line_chart((), title="t", y_label="y")
    with pytest.raises(ValueError, match="lies between"):
        line_chart((Series("far", (5000.0, 9000.0), (0.0, 1.0)),), title="t", y_label="y")
    with pytest.raises(ValueError, match="finite"):
        line_chart(
            (Series("a", (20.0, 200.0, 2000.0), (0.0, math.nan, 1.0)),), title="t", y_label="y", y_from=0, y_to=1
        )


def test_bands_limits_and_a_second_scale_are_named(built):
    text = line_chart(
        (Series("a", (20.0, 2000.0), (0.0, 9.0)), Series("b", (20.0, 2000.0), (-90.0, 90.0), 1, "right")),
        title="t",
        y_label="left",
        bands=(Band(5.0, 90.0, "band"),),
        limits=(Limit(4.0, "limit"),),
        right=Axis("right", -90.0, 90.0, 45.0),
    )
    assert {"band", "limit", "left", "right", "45", "-90", "a", "b"} <= set(labels_of(text))
    assert {"magnitude", "phase"} <= set(labels_of(charts.impedance_chart(built)))


def test_all_charts_are_well_formed_and_have_their_own_ids(built, closed):
    relief = tuple(
        20 * math.log10(c / b) for b, c in zip(built.excursion_peak_mm, closed.excursion_peak_mm, strict=True)
    )
    texts = (
        charts.response_chart(built, closed),
        charts.excursion_chart(built, closed),
        charts.impedance_chart(built),
        charts.group_delay_chart(built),
        charts.mouth_velocity_chart(built, limit_m_s=5.0),
        charts.relief_chart(built.frequency_hz, relief, from_hz=70.0, to_hz=200.0, least_db=1.0),
    )
    ids = [ElementTree.fromstring(t).get("id") for t in texts]
    assert len(set(ids)) == len(texts)
    for text in texts:
        root = ElementTree.fromstring(text)
        assert root.get("role") == "img" and len(root.find(f"{SVG}desc").text) > 20


def test_tables_show_computed_points_at_nominal_frequencies(built, closed):
    rows = charts.table_rows(built.frequency_hz, ((built.spl_db, 1), (closed.spl_db, 1)))
    assert [r[0] for r in rows][:4] == ["20", "25", "31.5", "40"]
    assert len(rows) == 21
    row = next(r for r in rows if r[0] == "200")
    assert float(row[1]) == pytest.approx(built.spl_db[100], abs=0.051)  # 200 Hz is the 100th point
    assert charts.table_rows((), ()) == ()
    assert [r[0] for r in charts.table_rows((90.0, 110.0), (((1.0, 2.0), 0),))] == ["100"]


def test_an_area_lies_between_its_lines_and_inside_the_frame(built):
    f = built.frequency_hz
    area = charts.Area("8 in 10", f, tuple(y - 1 for y in built.spl_db), tuple(y + 200 for y in built.spl_db), 0)
    text = charts.response_chart(built, spread=area)
    shape = next(e for e in ElementTree.fromstring(text).iter(f"{SVG}path") if e.get("fill-opacity"))
    points = [tuple(map(float, p)) for p in re.findall(r"(-?[\d.]+)[ ,](-?[\d.]+)", shape.get("d"))]
    assert len(points) > 20
    for x, y in points:
        assert lines.LEFT - 1e-3 <= x <= lines.LEFT + lines.PLOT_WIDTH + 1e-3
        assert lines.TOP - 1e-3 <= y <= lines.TOP + lines.PLOT_WIDTH / 2 + 1e-3
    assert "8 in 10" in labels_of(text)
    with pytest.raises(ValueError, match="finite"):
        charts.response_chart(built, spread=charts.Area("x", (20.0, 30.0), (0.0, math.nan), (1.0, 1.0)))


def test_the_greatest_level_says_what_sets_it(built):
    strip = ((20.0, 60.0, "excursion"), (60.0, 75.0, "mouth"), (75.0, 76.0, "voltage"), (76.0, 2000.0, "power"))
    text = charts.greatest_level_chart(built.frequency_hz, built.spl_db, strip)
    labels = labels_of(text)
    assert [name for name in labels if name in ("excursion", "mouth", "voltage", "power")] == [
        "excursion",
        "mouth",
        "power",  # the voltage's part is too short for a name
    ]
    root = ElementTree.fromstring(text)
    assert "voltage from 75 to 76 Hz" in root.find(f"{SVG}desc").text


def test_limits_close_together_are_written_apart(built):
    relief = tuple(0.0 for _ in built.frequency_hz)
    text = charts.relief_chart(built.frequency_hz, relief, least_db=0.3)
    root = ElementTree.fromstring(text)
    at = {e.text: float(e.get("y")) for e in root.iter(f"{SVG}text") if e.text and "closed box" in e.text}
    at |= {e.text: float(e.get("y")) for e in root.iter(f"{SVG}text") if e.text and "asked" in e.text}
    assert abs(at["same as closed box"] - at["asked: 0.3 dB"]) > 12


def test_the_listening_chart_goes_as_far_as_its_data(built):
    far = tuple(20 * 1.2**i for i in range(38))
    level = tuple(80.0 for _ in far)
    text = charts.listening_chart(far, level, level, band=(100.0, 700.0))
    assert {"10 k", "heard", "plain sum"} <= set(labels_of(text))
