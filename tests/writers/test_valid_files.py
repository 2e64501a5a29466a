"""Every page and drawing that leaves the program is valid, and points to nothing outside itself."""

import pytest
from html5lib.html5parser import ParseError

from conftest import DEMO
from kerfwave.cli import main
from markup import check_html, check_svg


@pytest.fixture(scope="module")
def coupons(tmp_path_factory):
    out = tmp_path_factory.mktemp("coupons")
    assert main(["coupon", str(DEMO), "--out", str(out)]) == 0
    return next(out.iterdir())


def test_the_guide_is_valid_html(demo_package):
    check_html((demo_package / "guide.html").read_text("utf-8"))


def test_the_reading_page_of_the_test_cuts_is_valid_html(coupons):
    check_html((coupons / "reading.html").read_text("utf-8"))


def test_every_drawing_is_valid_svg(demo_package, coupons):
    drawings = sorted((*demo_package.rglob("*.svg"), *coupons.rglob("*.svg")))
    assert len(drawings) > 30
    for path in drawings:
        check_svg(path.read_text("utf-8"))


@pytest.mark.parametrize(
    "wrong",
    [
        "<p>no type</p>",
        "<!DOCTYPE html><html><head><title>x</title></head><body><p>unclosed <b>bold</p></body></html>",
        '<!DOCTYPE html><html><head><title>x</title></head><body><img src="http://x/y.png" alt="x"></body></html>',
        '<!DOCTYPE html><html><head><title>x</title></head><body><p id="a" id="b">x</p></body></html>',
    ],
)
def test_the_check_of_html_sees_faults(wrong):
    with pytest.raises((AssertionError, ParseError)):
        check_html(wrong)


@pytest.mark.parametrize(
    "inside",
    [
        "<rect width='-'/>",
        "<a href='http://x'/>",
        "<g><title/><b/></g>",
        "<rect fill='url(#gone)'/>",
        "<circle r='1' s='2'/>",
    ],
)
def test_the_check_of_svg_sees_faults(inside):
    check_svg("<svg xmlns='http://www.w3.org/2000/svg'><rect width='1'/></svg>")
    with pytest.raises((AssertionError, TypeError, ValueError)):
        check_svg(f"<svg xmlns='http://www.w3.org/2000/svg'>{inside}</svg>")
