"""Pictures of the pressure: readable by every eye and in grey, small, safe to set into a page."""

import itertools
import math
import re
from xml.etree import ElementTree

import pytest

from kerfwave.model.parts import AirPrism, Opening
from kerfwave.writers.field import COLOURS, pressure_svg, transfer_chart
from kerfwave.writers.guide import drawing

SVG = "{http://www.w3.org/2000/svg}"
PLAN = ((-90.0, 0.0), (90.0, 0.0), (75.0, 200.0), (-75.0, 200.0))
AIR = (
    AirPrism("chamber", "chamber", ((-70.0, 10.0), (70.0, 10.0), (70.0, 80.0), (-70.0, 80.0)), (), 6.0, 80.0),
    AirPrism("guide", "guide", ((40.0, 79.0), (60.0, 79.0), (60.0, 201.0), (40.0, 201.0)), (), 6.0, 80.0),
    AirPrism("driver seat", "driver-seat", ((-40.0, -1.0), (40.0, -1.0), (40.0, 6.0), (-40.0, 6.0)), (), 6.0, 80.0),
)
OPENINGS = (
    Opening("driver", "driver", (0.0, 0.0, 40.0), (0.0, -1.0, 0.0), 2800.0, diameter_mm=60.0),
    Opening("mouth", "mouth", (50.0, 200.0, 40.0), (0.0, 1.0, 0.0), 1480.0, width_mm=20.0, height_mm=74.0),
)


def picture(highest=100.0, ident="field-1", title="Pressure at 70 Hz"):
    step, columns, rows = 2.5, 76, 84
    values = [
        highest * (1 + math.cos(math.pi * (j * step) / 200) * math.cos(0.01 * i)) / 2
        for j in range(rows)
        for i in range(columns)
    ]
    return pressure_svg(
        PLAN,
        AIR,
        OPENINGS,
        ident=ident,
        title=title,
        frequency_hz=70.0,
        origin_mm=(-95.0, -5.0),
        step_mm=step,
        columns=columns,
        pressure_pa=values,
        highest_pa=highest,
        driver_pa=0.98 * highest,
        mouth_pa=0.03 * highest,
    )


def lightness(colour):
    """Return L* of CIE 1976 from sRGB (IEC 61966-2-1)."""
    linear = [
        v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4
        for v in (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    ]
    y = sum(w * v for w, v in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
    return 116 * (y ** (1 / 3) if y > 0.008856 else 7.787 * y + 16 / 116) - 16


def test_the_colours_read_in_grey():
    """From light to dark in even steps: no two bands alike in a grey print."""
    steps = [lightness(a) - lightness(b) for a, b in itertools.pairwise(COLOURS)]
    assert min(steps) > 4
    assert max(steps) < 3 * min(steps)


def test_it_can_be_set_into_the_guide_and_is_small():
    text = picture()
    drawing(text)  # raises if it holds anything that could act or fetch
    assert len(text) < 60_000
    assert text == picture()
    assert all(i.startswith("field-1") for i in re.findall(r' id="([^"]+)"', text))


def test_what_it_says_without_being_seen():
    root = ElementTree.fromstring(picture())
    words = root.find(f"{SVG}desc").text
    assert "98 Pa behind the driver" in words
    assert "3 Pa in the mouth" in words
    assert "at most 100 Pa" in words
    assert root.find(f"{SVG}title").text == "Pressure at 70 Hz"


def test_a_scale_with_values():
    root = ElementTree.fromstring(picture(highest=340.0))
    said = [e.text for e in root.iter(f"{SVG}text")]
    assert [t for t in said if re.fullmatch(r"[\d.]+", t)] == ["0", "68", "136", "204", "272", "340"]
    assert {"Pa r.m.s.", "driver", "mouth"} <= set(said)


def test_colour_stays_within_the_outline():
    """No style sheet may be needed to hide what lies outside."""
    root = ElementTree.fromstring(picture())
    for path in root.iter(f"{SVG}path"):
        if path.get("fill") in COLOURS:
            ys = [float(y) for y in re.findall(r" ([\d.]+)", path.get("d"))]
            assert max(ys) - min(ys) <= 200.1


def test_loud_and_quiet_lie_where_they_are():
    """All the air has the lightest colour below; the darkest reaches the driver and not the mouth."""
    root = ElementTree.fromstring(picture())
    bands = {p.get("fill"): p.get("d") for p in root.iter(f"{SVG}path") if p.get("fill") in COLOURS}
    assert list(bands) == list(COLOURS)
    ys = [float(y) for y in re.findall(r" ([\d.]+)", bands[COLOURS[-1]])]
    assert min(ys) > 110  # the page's y runs down: the front, with the driver, is at the bottom


@pytest.mark.parametrize("ident", ["field-1", "field-7"])
def test_hostile_titles_are_text(ident):
    text = picture(ident=ident, title='</title><script>alert(1)</script>"')
    drawing(text)
    assert "<script" not in text


def test_the_transfers_beside_each_other():
    text = transfer_chart((50.0, 100.0, 500.0), (3.0, -2.0, -12.0), (2.5, -2.2, -15.0))
    drawing(text)
    said = [e.text for e in ElementTree.fromstring(text).iter(f"{SVG}text")]
    assert {"sound field", "network"} <= set(said)
