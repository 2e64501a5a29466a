"""Is it HTML, is it SVG, and does it reach for anything outside? By parsers that are not ours."""

import re
import xml.etree.ElementTree as ET

import html5lib
from svgwrite.validator2 import get_validator

SVG = "{http://www.w3.org/2000/svg}"
NEWER_THAN_SVG_1_1 = {"aria-label", "role", "paint-order"}  # SVG 2 (W3C candidate recommendation 2018) has them
REFERENCES = ("href", "src", "srcset", "action", "formaction", "data", "poster", "background", "ping", "cite", "base")


def check_html(text: str) -> None:
    """Parse strictly by the WHATWG algorithm: the first parse error is raised. Then look for references outside."""
    tree = html5lib.HTMLParser(strict=True).parse(text)
    assert next(tree.iter("{http://www.w3.org/1999/xhtml}title")).text
    for element in tree.iter():
        if isinstance(element.tag, str):
            _stays_inside(element.attrib)
    for style in re.findall(r"<style>(.*?)</style>", text, re.DOTALL):
        assert "@import" not in style and not re.search(r"url\((?!#)", style)


def check_svg(text: str) -> None:
    """Hold a drawing against the tables of SVG 1.1 full: elements, children, attributes and their values."""
    assert "<!DOCTYPE" not in text and "<!ENTITY" not in text
    root = ET.fromstring(text)
    assert root.tag == f"{SVG}svg"
    tables = get_validator("full")
    ids = [e.attrib["id"] for e in root.iter() if "id" in e.attrib]
    assert len(ids) == len(set(ids))
    for element in root.iter():
        name = element.tag.removeprefix(SVG)
        assert name not in ("script", "foreignObject", "image", "style", "animate", "set")
        for child in element:
            tables.check_valid_children(name, child.tag.removeprefix(SVG))
        for key, value in element.attrib.items():
            if key not in NEWER_THAN_SVG_1_1:
                tables.check_svg_attribute_value(name, key, value)
            assert all(target in ids for target in re.findall(r"url\(#([^)]*)\)", value))
        _stays_inside(element.attrib)


def _stays_inside(attributes: dict[str, str]) -> None:
    for key, value in attributes.items():
        local = key.rpartition("}")[2].rpartition(":")[2].lower()
        assert not local.startswith("on"), f"{key}={value}"
        assert local not in REFERENCES or value.startswith("#"), f"{key}={value}"
        assert local == "aria-label" or not re.search(r"url\((?!#)", value, re.IGNORECASE), f"{key}={value}"
