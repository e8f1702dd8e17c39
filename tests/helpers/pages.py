"""Looking at a page of HTML without a browser: whether it is valid, stands alone, and can be read by all."""

import base64
import itertools
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import html5lib

from arena.reports.paper import COLOURS, PAIRS, contrast, ground_colour

_SPACE = "{http://www.w3.org/1999/xhtml}"
_VOID_OF_ADDRESS = re.compile(r"^(data:image/(png|svg\+xml);base64,[A-Za-z0-9+/=]+|#[\w-]+)$")


def tree_of(text: str) -> ElementTree.Element:
    """The page as a tree. Raises html5lib's ParseError where it breaks a rule of HTML."""
    return html5lib.HTMLParser(strict=True).parse(text)


def named(tree: ElementTree.Element, *names: str) -> list[ElementTree.Element]:
    """Every element of these names, in the order of the page."""
    return [one for one in tree.iter() if isinstance(one.tag, str) and one.tag.removeprefix(_SPACE) in names]


def words_of(element: ElementTree.Element) -> str:
    """The text of an element, in one line."""
    return " ".join("".join(element.itertext()).split())


def check_page(text: str) -> ElementTree.Element:
    """Assert of a page what holds for every report; returns its tree."""
    tree = tree_of(text)
    assert tree.get("lang") == "en"
    [title] = named(tree, "title")
    assert words_of(title)
    _check_addresses(tree, text)
    levels = [int(one.tag[-1]) for one in named(tree, "h1", "h2", "h3", "h4", "h5", "h6")]
    assert levels[0] == 1
    # a heading goes at most one level deeper than the one before
    assert all(deeper <= level + 1 for level, deeper in itertools.pairwise(levels)), levels
    for picture in named(tree, "img"):
        assert len(picture.get("alt", "")) > 20
        assert int(picture.get("width")) > 0
        assert int(picture.get("height")) > 0
    for picture in tree.iter("{http://www.w3.org/2000/svg}svg"):
        is_told = picture.get("role") == "img" and len(picture.get("aria-label", "")) > 20
        assert is_told or picture.get("aria-hidden") == "true"
    stock = {one.get("id") for one in tree.iter("{http://www.w3.org/2000/svg}image")}
    assert {one.get("href") for one in tree.iter("{http://www.w3.org/2000/svg}use")} <= {
        f"#{one}" for one in stock
    }
    for table in named(tree, "table"):
        heads = named(table, "th")
        assert heads
        assert all(head.get("scope") in ("col", "row") for head in heads)
        for row in named(table, "tr"):
            assert named(row, "th"), "a row without a heading"
    identities = [one.get("id") for one in tree.iter() if one.get("id")]
    assert len(identities) == len(set(identities))
    assert "local codes, the rules of your school and licensed practice come first" in text
    for danger in ("Soldering", "Cut wire", "Lamps", "Eyes", "Capacitors"):
        assert f"<b>{danger}:</b>" in text
    _check_colours(tree, text)
    return tree


def _check_addresses(tree: ElementTree.Element, text: str) -> None:
    """Nothing is fetched and nothing is run."""
    assert named(tree, "script", "link", "iframe", "object", "embed", "base", "form") == []
    for one in tree.iter():
        for attribute, value in one.attrib.items():
            assert not attribute.lower().startswith("on"), attribute
            if attribute in ("src", "href", "srcset", "data", "action", "poster", "background"):
                assert _VOID_OF_ADDRESS.match(value), value[:80]
    styles = "".join(words_of(one) for one in named(tree, "style"))
    styles += "".join(one.get("style", "") for one in tree.iter())
    assert "url(" not in styles
    assert "@import" not in styles
    for drawing in drawings(tree):
        outside = re.sub(r'xmlns(:\w+)?="[^"]*"', "", drawing)
        assert not re.search(r"(https?:)?//\w", outside)
        assert "<script" not in drawing


def drawings(tree: ElementTree.Element) -> list[str]:
    """The SVG of each plot on the page."""
    head = "data:image/svg+xml;base64,"
    sources = [one.get("src", "") for one in named(tree, "img")]
    return [
        base64.b64decode(one.removeprefix(head)).decode("utf-8") for one in sources if one.startswith(head)
    ]


def _check_colours(tree: ElementTree.Element, text: str) -> None:
    """Every colour is one of the paper's, and each that words are written in is read on each ground."""
    style = "".join("".join(one.itertext()) for one in named(tree, "style"))
    known = {"#{:02x}{:02x}{:02x}".format(*colour): name for name, colour in COLOURS.items()}
    found = {colour.lower() for colour in re.findall(r"#[0-9a-fA-F]{3,8}\b", style)}
    assert found == set(known)
    inks = set(re.findall(r"(?<![-\w])color: var\(--(\w+)\)", style))
    for svg in drawings(tree):
        root = ElementTree.fromstring(svg)
        for one in root.iter("{http://www.w3.org/2000/svg}text"):
            [fill] = re.findall(r"fill: (#\w+)", one.get("style", "")) or [one.get("fill", "")]
            inks.add(known[fill])
        found |= {colour.lower() for colour in re.findall(r"#[0-9a-fA-F]{6}\b", svg)}
    assert found <= {*known, "#000000", "#ffffff"}
    pairs = {(pair.mark, pair.ground) for pair in PAIRS}
    assert {(ink, ground) for ink in inks for ground in ("paper", "tint", "white")} <= pairs
    for pair in PAIRS:
        assert contrast(COLOURS[pair.mark], ground_colour(pair.ground)) >= pair.least, pair


def page_at(path: Path) -> Any:
    """The tree of a checked page in a file."""
    return check_page(path.read_text(encoding="utf-8"))
