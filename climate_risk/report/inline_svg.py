"""Figures as files, and as SVG inside a page without inline style, as its policy asks."""

from __future__ import annotations

import io
import re
from functools import lru_cache
from html import escape
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

from climate_risk.report import theme
from climate_risk.report.ticks import light_ticks

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SVG, XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
KEY, WORDS = "\ue000", "\ue001"
"""Characters that no chart holds."""
SAVED_WITH: dict[str, dict[str, Any]] = {
    "svg": {"metadata": {"Date": None}},
    "pdf": {"metadata": {"CreationDate": None}},
    "png": {"pil_kwargs": {"compress_level": 3}},
}
"""Without a date; a picture of lines and letters packs as small in half the time at level 3."""


def svg_bytes(figure: Figure) -> bytes:
    """The figure as an SVG file of its own, the same for the same figure."""
    return saved(figure, "svg")


def saved(figure: Figure, kind: str) -> bytes:
    """The figure in a file format of matplotlib's, without a date."""
    stream = io.BytesIO()
    with theme.styled(theme.DESK), light_ticks(figure):
        figure.savefig(stream, format=kind, **SAVED_WITH.get(kind, {}))
    return stream.getvalue()


def inline_svg(svg: bytes, key: str, words: str) -> str:
    """An SVG file of matplotlib's as an ``svg`` element to stand in a page.

    Styles become attributes, which a policy against inline style lets pass and the page's dark
    view overrides by colour; ids get the key before them, so that many charts share a page.

    Parameters
    ----------
    svg : bytes
        As :func:`svg_bytes` makes it.
    key : str
        Of this chart alone in its page.
    words : str
        What a screen reader says in its place.
    """
    return _element(svg).replace(KEY, key).replace(WORDS, escape(words))


@lru_cache(maxsize=64)
def _element(svg: bytes) -> str:
    """The element with marks where key and words belong: a page may hold one chart twice."""
    root = ElementTree.fromstring(svg)
    used = {
        value[value.index("#") + 1 :].rstrip(")")
        for element in root.iter()
        for value in (*element.attrib.values(), *element.get("style", "").split(";"))
        if "url(#" in value or value.startswith("#")
    }
    for parent in root.iter():
        for child in list(parent):
            if child.tag in (f"{{{SVG}}}metadata", f"{{{SVG}}}style"):
                parent.remove(child)
    _unwrap(root)
    for element in root.iter():
        element.text = element.text.strip() if element.text else None
        element.tail = None
        element.tag = element.tag.removeprefix(f"{{{SVG}}}")
        _styles_to_attributes(element)
        _rename(element, used)
    for name in ("width", "height", "version"):
        root.attrib.pop(name, None)
    root.attrib |= {"role": "img", "aria-label": WORDS}
    return ElementTree.tostring(root, encoding="unicode")


def _unwrap(parent: ElementTree.Element) -> None:
    """Take what stands in groups that say nothing out of them."""
    kept = []
    for child in parent:
        _unwrap(child)
        is_bare = child.tag == f"{{{SVG}}}g" and not set(child.attrib) - {"id"}
        kept += list(child) if is_bare else [child]
    parent[:] = kept


def _shorten(match: re.Match[str]) -> str:
    return f"{float(match[0]):.1f}".removesuffix(".0")


def _styles_to_attributes(element: ElementTree.Element) -> None:
    """All but the font's family, which the page gives."""
    for item in filter(None, element.attrib.pop("style", "").split(";")):
        name, _, value = (part.strip() for part in item.partition(":"))
        if name != "font-family":
            element.set(name, value.removesuffix("px"))


def _rename(element: ElementTree.Element, used: set[str]) -> None:
    own = element.attrib.pop("id", None)
    if own in used:
        element.set("id", f"{KEY}-{own}")
    link = element.attrib.pop(f"{{{XLINK}}}href", None)
    if link is not None:
        element.set("href", f"#{KEY}-{link[1:]}")
    if element.get("transform", "").startswith("rotate(-0"):
        del element.attrib["transform"]
    for name, value in element.attrib.items():
        if name in ("d", "x", "y"):
            short = re.sub(r"-?\d+\.\d+", _shorten, " ".join(value.split()))
            element.set(name, short.replace(" L ", " "))  # a point after a point is a line
        if "url(#" in value:
            element.set(name, value.replace("url(#", f"url(#{KEY}-"))
