"""The guide in a real browser: ticks, keyboard, phone, light and dark, paper, and what an accessibility engine finds.

Needs Chromium or Chrome on the path. Where there is none, these tests are left out and the end of the run says so;
with KERFWAVE_BROWSER_TESTS=required, as .ci/run sets it, they fail instead.
"""

import os
import re
import shutil

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright
from pypdf import PdfReader

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
PT_PER_MM = 72 / 25.4
COLOUR_NAMES = (
    "page",
    "card",
    "ink",
    "muted",
    "wood",
    "wood-2",
    "air",
    "chamber",
    "seat",
    "ghost",
    "s0",
    "s1",
    "s2",
    "s3",
)

MARK_CORNERS = """() => {
  const figures = [...document.querySelectorAll("figure")];
  figures.forEach((figure, number) => {
    const svg = figure.querySelector("svg"), box = svg.viewBox.baseVal, side = Math.min(box.width, box.height) / 40;
    const corners = {top: [box.x, box.y], end: [box.x + box.width - side, box.y + box.height - side]};
    for (const [name, [x, y]] of Object.entries(corners)) {
      const link = document.createElementNS(svg.namespaceURI, "a");
      const spot = document.createElementNS(svg.namespaceURI, "rect");
      link.setAttribute("href", `https://figure.invalid/${number}/${name}`);
      for (const [key, value] of Object.entries({x, y, width: side, height: side})) spot.setAttribute(key, value);
      link.append(spot);
      svg.append(link);
    }
    const caption = figure.querySelector("figcaption");
    caption.innerHTML = `<a href="https://figure.invalid/${number}/caption">${caption.innerHTML}</a>`;
  });
  for (const heading of document.querySelectorAll("main h2, main h3")) {
    heading.innerHTML = `<a href="https://heading.invalid/${heading.tagName}/">${heading.innerHTML}</a>`;
  }
  return figures.length;
}"""

TOO_WIDE = """() => [...document.querySelectorAll("body *")].filter((e) => !e.closest("svg") && !e.closest(".skip"))
  .filter((e) => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map((e) => e.tagName + ": " + e.textContent.slice(0, 60))"""

SCROLLING = """() => [...document.querySelectorAll(".scroll")].filter((e) => e.scrollWidth > e.clientWidth)
  .map((e) => e.tabIndex == 0)"""

COLOURS = """(names) => {
  const style = getComputedStyle(document.documentElement);
  return Object.fromEntries(names.map((name) => [name, style.getPropertyValue("--" + name).trim()]));
}"""


@pytest.fixture(scope="module")
def program():
    """Return the path of a browser."""
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    if found is None:
        left_out = f"the tests of the guide in a browser: none of {', '.join(BROWSERS)} is on the path"
        if os.environ.get("KERFWAVE_BROWSER_TESTS") == "required":
            pytest.fail(f"cannot run {left_out}")
        pytest.skip(f"left out {left_out}")
    return found


@pytest.fixture(scope="module")
def playwright(program):
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="module")
def browser(playwright, program):
    started = playwright.chromium.launch(executable_path=program)
    yield started
    started.close()


@pytest.fixture(scope="module")
def guide(demo_package):
    return demo_package / "guide.html"


@pytest.fixture
def opened(browser, guide):
    """Return a function that opens the guide, and closes what it opened when the test ends."""
    contexts = []

    def open_(path=guide, **settings):
        context = browser.new_context(offline=True, **settings)
        contexts.append(context)
        page = context.new_page()
        page.goto(path.as_uri())
        return page

    yield open_
    for context in contexts:
        context.close()


def boxes(page):
    return page.locator("input[type=checkbox]")


def ticked(page):
    return page.evaluate("[...document.querySelectorAll('input:checked')].map((box) => box.id)")


def test_nothing_is_fetched_and_nothing_goes_wrong(browser, guide):
    with browser.new_context(offline=True) as context:
        page = context.new_page()
        asked, said = [], []
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(message.text))  # refused by the policy of the page, say
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(guide.as_uri())
        boxes(page).first.check()
        for summary in page.locator("summary").all():
            summary.click()
        page.emulate_media(media="print")
        page.wait_for_load_state("networkidle")
        assert asked == [guide.as_uri()] and said == []
        assert page.evaluate("performance.getEntriesByType('resource').length") == 0


def test_ticks_survive_a_reload_and_a_restart_of_the_browser(playwright, program, guide, tmp_path):
    picked = (0, 7, -1)
    for start in range(2):
        with playwright.chromium.launch_persistent_context(tmp_path / "profile", executable_path=program) as context:
            page = context.pages[0]
            page.goto(guide.as_uri())
            count = boxes(page).count()
            if start == 0:
                assert count > 150 and ticked(page) == []
                for number in picked:
                    boxes(page).nth(number).check()
                page.reload()
            assert ticked(page) == [boxes(page).nth(number).get_attribute("id") for number in picked]
            assert page.locator("#progress-text").inner_text() == f"3 of {count} ticked."


def test_ticks_can_be_cleared_but_not_by_a_slip(opened):
    page = opened()
    boxes(page).nth(3).check()
    answers = []
    page.on("dialog", lambda dialog: dialog.accept() if answers else dialog.dismiss())
    page.locator("#clear").click()
    assert len(ticked(page)) == 1
    answers.append("yes")
    page.locator("#clear").click()
    page.reload()
    assert ticked(page) == []


def test_ticks_belong_to_one_revision(opened, guide, tmp_path):
    other = tmp_path / "other.html"
    text = guide.read_text("utf-8")
    other.write_text(re.sub(r'data-key="[^"]*"', 'data-key="another"', text), "utf-8")
    assert other.read_text("utf-8") != text
    page = opened()
    boxes(page).first.check()
    page.goto(other.as_uri())
    assert ticked(page) == []
    page.goto(guide.as_uri())
    assert len(ticked(page)) == 1


def test_without_script_it_reads_and_ticks(opened):
    page = opened(java_script_enabled=False)
    boxes(page).first.check()
    assert boxes(page).first.is_checked()
    assert not page.locator("#clear").is_visible()
    assert page.locator("main figure svg").count() > 30


def test_keyboard_alone(opened):
    page = opened()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    assert page.locator(".skip").bounding_box()["x"] >= 0
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.keyboard.press("Tab")
    first = page.evaluate("document.activeElement.id")
    assert first == boxes(page).first.get_attribute("id")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.press("Space")
    assert ticked(page) == [first]
    page.locator("summary").first.focus()
    page.keyboard.press("Enter")
    assert page.locator("details").first.get_attribute("open") is not None
    # what scrolls sideways can be reached, and scrolled, by the keyboard
    page.set_viewport_size(PHONE["viewport"])
    scrolling = page.evaluate(SCROLLING)
    assert len(scrolling) > 10 and all(scrolling)


@pytest.mark.parametrize("width", [320, 360, 844])
def test_a_phone_never_scrolls_sideways(opened, width):
    page = opened(**PHONE | {"viewport": {"width": width, "height": 740}})
    page.evaluate("document.querySelectorAll('details').forEach((e) => { e.open = true; })")
    assert page.evaluate("[innerWidth, document.documentElement.scrollWidth]") == [width, width]
    assert page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") >= 16


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_an_accessibility_engine_finds_nothing(opened, scheme):
    """axe-core, every rule that it has, best practices too; in the dark on a phone.

    What a drawing is made of is taken out first: to a reader it is one picture with a text, which stays.
    """
    page = opened(color_scheme=scheme, **(PHONE if scheme == "dark" else {}))
    page.evaluate("document.querySelectorAll('figure svg > :not(title, desc)').forEach((e) => e.remove())")
    found = Axe().run(page)
    assert [(v["id"], v["nodes"][0]["target"], len(v["nodes"])) for v in found.response["violations"]] == []
    assert len(found.response["passes"]) > 30


def luminance(colour):
    """Return the relative luminance of "#rrggbb" or "#rgb" (WCAG 2.2)."""
    digits = colour.removeprefix("#")
    digits = digits if len(digits) == 6 else "".join(2 * d for d in digits)
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(("media", "scheme"), [("screen", "light"), ("screen", "dark"), ("print", "light")])
def test_drawings_can_be_read(opened, media, scheme):
    """Text in drawings against what it stands on, and lines that mean something: WCAG 2.2, 1.4.3 and 1.4.11.

    The engine does not look into drawings.
    """
    page = opened(color_scheme=scheme)
    page.emulate_media(media=media, color_scheme=scheme)
    colours = page.evaluate(COLOURS, COLOUR_NAMES)
    assert all(colours.values())
    text = [("ink", on) for on in ("card", "wood", "wood-2", "air", "chamber", "seat", "ghost")]
    text += [("muted", "card"), ("muted", "page"), *((f"s{n}", "card") for n in range(4))]
    assert {
        pair: round(contrast(*(colours[c] for c in pair)), 2)
        for pair in text
        if contrast(*(colours[c] for c in pair)) < 4.5
    } == {}
    dark = luminance(colours["page"]) < luminance(colours["ink"])
    assert dark == (scheme == "dark")


@pytest.mark.parametrize("paper", PAPER_MM)
def test_on_paper_no_figure_is_cut_off(opened, paper, tmp_path):
    """Links laid into the corners of each figure come out as rectangles on pages of the PDF."""
    page = opened()
    count = page.evaluate(MARK_CORNERS)
    width, height = PAPER_MM[paper]
    file = tmp_path / "guide.pdf"
    page.pdf(path=file, format=paper)
    spots, headings = {}, []
    for number, sheet in enumerate(PdfReader(file).pages):
        assert [float(v) for v in sheet.mediabox[2:]] == pytest.approx([width * PT_PER_MM, height * PT_PER_MM], abs=2)
        for note in (a.get_object() for a in sheet.get("/Annots", ())):
            uri = note.get("/A", {}).get("/URI", "")
            place = (number, [float(v) for v in note["/Rect"]])
            if uri.startswith("https://figure.invalid/"):
                figure, where = uri.split("/")[3:]
                spots.setdefault((int(figure), where), []).append(place)
            elif uri.startswith("https://heading.invalid/"):
                headings.append(place)
    assert sorted(spots) == sorted((n, w) for n in range(count) for w in ("top", "end", "caption"))
    margin = 13 * PT_PER_MM
    for figure in range(count):
        ((on, (left, *_, top)),) = spots[figure, "top"]
        ((end_on, (_, bottom, right, _)),) = spots[figure, "end"]
        assert {on, end_on} == {n for n, _ in spots[figure, "caption"]}, f"figure {figure} is torn from its caption"
        assert margin < left < right < width * PT_PER_MM - margin, f"figure {figure}"
        assert margin < bottom < top < height * PT_PER_MM - margin, f"figure {figure}"
        assert min(right - left, top - bottom) > 20 * PT_PER_MM, f"figure {figure} is too small to read"
    assert len(headings) > 60
    assert min(bottom for _, (_, bottom, *_) in headings) > 40 * PT_PER_MM, "a heading is alone at the foot of a page"


@pytest.mark.parametrize("paper", PAPER_MM)
def test_on_paper_no_text_runs_off_the_side(opened, paper):
    width = round((PAPER_MM[paper][0] - 28) / 25.4 * 96)
    page = opened(viewport={"width": width, "height": 900})
    page.emulate_media(media="print")
    assert page.evaluate(TOO_WIDE) == []
