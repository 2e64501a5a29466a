"""The guide: sound HTML, in order, for everybody to read, and nothing in it that acts but our own few lines."""

import base64
import dataclasses
import hashlib
import itertools
import re
from html.parser import HTMLParser

import pytest

from kerfwave.writers.assembly import KINDS, FillNote, FloorNote, WireNote, assembly_steps
from kerfwave.writers.guide import OUTCOMES, drawing, render_guide

VOID = {"meta", "input", "br", "link", "img", "hr"}
NASTY = '<script>alert(1)</script>"><svg onload=alert(1)>\'=HYPERLINK("x") javascript:alert(1) {{ 7*7 }} </style><b>'


class Page(HTMLParser):
    """Read a page, insisting that every element is closed in order, and keep what the tests ask about."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open = []
        self.elements = []  # (tag, attributes, tags it is in)
        self.text = {}  # index of element: its own text
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        assert len(dict(attrs)) == len(attrs), f"an attribute twice in {tag}"
        self.elements.append((tag, dict(attrs), tuple(t for t, _ in self.open)))
        if tag not in VOID:
            self.open.append((tag, len(self.elements) - 1))

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs), tuple(t for t, _ in self.open)))

    def handle_endtag(self, tag):
        assert self.open and self.open[-1][0] == tag, f"{tag} closed inside {self.open[-3:]}"
        self.open.pop()

    def handle_data(self, data):
        if self.open:
            self.text[self.open[-1][1]] = self.text.get(self.open[-1][1], "") + data

    def all(self, *tags):
        return [(i, a) for i, (t, a, _) in enumerate(self.elements) if t in tags]


@pytest.fixture(scope="module")
def html(guide):
    return render_guide(guide)


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


@pytest.fixture(scope="module")
def nasty(make_guide):
    return render_guide(make_guide(name="Evil " + NASTY, text=" " + NASTY))


def test_it_is_the_same_every_time(guide, html):
    assert render_guide(guide) == html
    assert html.startswith("<!DOCTYPE html>") and html.endswith("</html>\n")


def test_ids_are_unique_and_references_lead_somewhere(page):
    ids = [a["id"] for _, a, _ in page.elements if "id" in a]
    assert len(ids) == len(set(ids))
    for tag, attributes, _ in page.elements:
        for key in ("for", "aria-labelledby", "aria-describedby"):
            for target in attributes.get(key, "").split():
                assert target in ids, (tag, target)
        if attributes.get("href", "").startswith("#"):
            assert attributes["href"][1:] in ids
        for value in attributes.values():
            for paint in re.findall(r"url\(#([^)]*)\)", value or ""):
                assert paint in ids


def test_headings_go_down_one_at_a_time(page):
    levels = [int(page.elements[i][0][1]) for i, _ in page.all("h1", "h2", "h3", "h4")]
    assert levels.count(1) == 1 and levels[0] == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))


def test_landmarks_and_the_order_of_the_work(page, html):
    for tag in ("header", "nav", "main", "footer"):
        assert len(page.all(tag)) == 1
    order = (
        "safety",
        "prove",
        "cut",
        "sort",
        "glue",
        "fit",
        "leak",
        "sound",
        "measure",
        "bill",
        "cut-list",
        "checks",
        "provenance",
    )
    places = [html.index(f'<section id="{name}"') for name in order]
    assert places == sorted(places)
    links = [a["href"][1:] for _, a in page.all("a") if a["href"] != "#main"]
    assert tuple(links) == (order[0], *order)  # the outcome leads to what it rests on, then come the contents
    assert html.index("Two lines below") < places[0]  # outcome at the top


def test_figures_have_text_alternatives(page):
    figures = page.all("figure")
    drawings = [a for _, a in page.all("svg")]
    assert len(figures) == len(drawings) > 20
    for attributes in drawings:
        assert attributes["role"] == "img" and attributes["aria-label"]
    assert len(page.all("figcaption")) == len(figures)
    assert len([1 for t, _, inside in page.elements if t == "desc" and inside[-1] == "svg"]) == len(drawings)


def test_every_box_has_a_label(page):
    boxes = {a["id"] for _, a in page.all("input")}
    labels = [a["for"] for _, a in page.all("label")]
    assert len(boxes) > 50 and sorted(labels) == sorted(boxes)
    assert all(page.text[i].strip() for i, _ in page.all("label"))


def test_tables_have_captions_and_scopes(page):
    tables = page.all("table")
    assert len(tables) >= 4 and len(page.all("caption")) == len(tables)
    assert all(a.get("scope") in ("row", "col") for _, a in page.all("th"))


def test_nothing_is_fetched(html, page):
    bare = re.sub(r'xmlns(:\w+)?="[^"]*"', "", html)
    assert not re.search(r"(https?:)?//\w", re.sub(r"<style>.*?</style>|<script>.*?</script>", "", bare, flags=re.S))
    assert not [t for t, a, _ in page.elements if t in ("link", "img", "iframe", "object", "embed", "form", "base")]
    assert not [a for _, a, _ in page.elements if "src" in a or "style" in a or "action" in a]
    style = re.search(r"<style>(.*?)</style>", html, re.S).group(1)
    assert "url(" not in style and "@import" not in style


def test_the_policy_allows_exactly_our_style_and_script(html, page):
    policy = next(a["content"] for _, a in page.all("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none';")
    for tag in ("style", "script"):
        (found,) = re.findall(rf"<{tag}>(.*?)</{tag}>", html, re.S)
        digest = base64.b64encode(hashlib.sha256(found.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert "unsafe" not in policy


def test_an_unverified_recipe_shows_a_banner(make_guide, html):
    assert "The recipe is not verified." in html and "Recipe not verified: cut the coupons first." in html
    sure = render_guide(make_guide(unverified=False))
    assert "not verified" not in sure


@pytest.mark.parametrize("word", OUTCOMES)
def test_the_three_outcomes(guide, word):
    assert f"<strong>{word.capitalize()}.</strong>" in render_guide(dataclasses.replace(guide, outcome=word))


def test_other_outcomes_are_refused(guide):
    with pytest.raises(ValueError, match="outcome"):
        render_guide(dataclasses.replace(guide, outcome="looks fine"))


def test_empty_parts_leave_their_section_out(guide):
    bare = render_guide(
        dataclasses.replace(guide, coupons=(), charts=(), acoustics=(), bill=(), cut_list=(), plan_svg="")
    )
    page = Page(bare)
    ids = {a["id"] for _, a, _ in page.elements if "id" in a}
    assert not ids & {"prove", "measure", "bill", "cut-list"}
    assert "safety" in ids


def test_text_of_a_spec_never_acts(nasty):
    page = Page(nasty)  # still balanced: nothing broke out
    assert len(page.all("script")) == 1 and len(page.all("style")) == 1 and len(page.all("b")) == 2
    for tag, attributes, _ in page.elements:
        assert not [k for k in attributes if k.startswith("on")], tag
        assert not (attributes.get("href") or "#").startswith("javascript")
    assert "<script>alert" not in nasty and "<svg onload" not in nasty
    assert "{{ 7*7 }}" in nasty  # nor is it a template
    ids = [a["id"] for _, a, _ in page.elements if "id" in a]
    assert len(ids) == len(set(ids)) and all(re.fullmatch(r"[A-Za-z][\w-]*", i) for i in ids)


@pytest.mark.parametrize(
    "bad",
    [
        "<svg><script>1</script></svg>",
        '<svg onload="x"/>',
        '<svg><a href="#x"/></svg>',
        "<svg><foreignObject/></svg>",
        '<svg><rect fill="url(http://x)"/></svg>',
        '<svg><rect style="x"/></svg>',
        '<svg><image href="x"/></svg>',
        "<svg>",
    ],
)
def test_only_plain_drawings_are_set_in(bad):
    with pytest.raises(ValueError, match="drawing"):
        drawing(bad)


def test_an_unformatted_number_is_an_error(guide):
    with pytest.raises(TypeError, match="unformatted"):
        render_guide(dataclasses.replace(guide, name=1.23456789))


def test_fibre_is_said_with_its_place_and_grams(html):
    assert "rear chamber: 4.2 g of loose fibre." in html


def test_steps_come_in_the_order_of_the_work(body, guide):
    steps = guide.steps
    kinds = [s.kind for s in steps]
    assert set(kinds) == set(KINDS)
    assert len({s.id for s in steps}) == len(steps)
    layers = [s.layer for s in steps if s.kind == "layer"]
    assert layers == [layer.index for layer in body.layers]
    # wire, fibre and the last look come before the lid, and after every layer with air in it
    lid = kinds.index("close") + 1
    assert steps[lid].layer == 14 and kinds.index("wire") < kinds.index("fill") < kinds.index("close")
    assert [k for k in kinds if k not in ("layer", "wire", "fill", "close")] == [
        "prepare",
        "prepare",
        "prepare",
        "inset",
        "terminals",  # soldered on the bench, before the plate is glued in
        "inset",
        "driver",
        "leak",
        "sound",
    ]
    assert "No glue in the seat of the driver" in " ".join(next(s for s in steps if s.id == "layer-07").do)
    assert "2.5 mm (0.098 in)" in " ".join(next(s for s in steps if s.kind == "driver").do)


def test_without_fibre_no_step_asks_for_any(body):
    assert "fill" not in {s.kind for s in assembly_steps(body.layers, body.pieces, body.openings, lid=14)}


def test_safety_lines_carry_number_limit_source_and_status(html):
    line = html[html.index("tick-safety-eyewear") :]
    line = line[: line.index("</li>")]
    for part in ("5.1 OD", "Computed.", "log10(E0 / MPE)", "Source: EN 207 guidance"):
        assert part in line
    assert html.index('id="level-stop"') < html.index('id="level-fix-first"') < html.index('id="level-duty"')


def test_the_wire_goes_into_its_channel_before_the_next_layer_covers_it(body):
    for note, said in ((WireNote(8, True), "cable tie"), (WireNote(8, False), "Knot the wire")):
        steps = assembly_steps(body.layers, body.pieces, body.openings, lid=14, wire=note)
        at = next(i for i, s in enumerate(steps) if s.kind == "wire")
        assert [s.kind for s in steps].count("wire") == 1
        assert (steps[at - 1].layer, steps[at + 1].layer) == (8, 9) and said in " ".join(steps[at].do)


def test_what_a_floor_covers_is_done_before_it_is_laid(body):
    """Chamber in layers 2 to 5, a floor in layer 6, the guide above it: as in a facing stack with the guide behind."""
    fibre = (FillNote("rear chamber", 3.0, "", 6), FillNote("the whole guide", 2.0))
    floors = (FloorNote(6, 6, "the chamber", "the guide"),)
    for wire in (None, WireNote(8, True)):
        steps = assembly_steps(
            body.layers,
            body.pieces,
            body.openings,
            lid=14,
            fill=fibre,
            wire=wire,
            floors=floors,
            chamber_covered_by=6,
        )
        assert len({s.id for s in steps}) == len(steps)
        before = [s for s in steps if s.layer == 6]
        assert [s.kind for s in before] == ["wire", "fill", "close", "layer"]
        assert "rear chamber: 3 g" in before[1].do[0] and "guide" not in before[1].do[0]
        assert "floor between the chamber and the guide" in before[2].do[0]
        assert [s.kind for s in steps if s.layer == 14] == ["fill", "close", "layer"]
        assert [s.kind for s in steps].count("wire") == 1


def test_the_steps_of_a_closed_box_speak_of_no_guide(body):
    closed = tuple(opening for opening in body.openings if opening.kind != "mouth")
    words = {name: str(assembly_steps(body.layers, body.pieces, some, lid=14)) for name, some in
             (("closed", closed), ("open", body.openings))}  # fmt: skip
    for word in ("mouth", "narrows the guide"):
        assert word in words["open"] and word not in words["closed"]
