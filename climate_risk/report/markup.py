"""Small pieces of HTML; every text that goes in is escaped here and nowhere else."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path
from string import Template

from climate_risk.report.display import kept_together
from climate_risk.report.sheet import Sheet
from climate_risk.report.svg import svg_text

TEMPLATES = Path(__file__).parent / "templates"
PHONE_PX = 640
"""Up to this width the narrow chart is shown."""


WIDE_COLUMNS = 3
"""A table with more columns keeps its width on a phone and scrolls by itself."""


def element(tag: str, text: str, **attributes: str) -> str:
    """One element holding text; a trailing underscore of an attribute name is dropped."""
    return f"<{tag}{_attributes(attributes)}>{escape(kept_together(text))}</{tag}>"


def paragraph(text: str, **attributes: str) -> str:
    """A paragraph; nothing for an empty text."""
    return element("p", text, **attributes) if text else ""


def paragraphs(texts: Iterable[str]) -> str:
    return "\n".join(paragraph(text) for text in texts if text)


def listing(texts: Iterable[str], *, ordered: bool = False) -> str:
    """A list; nothing for no items."""
    items = "\n".join(element("li", text) for text in texts)
    tag = "ol" if ordered else "ul"
    return f"<{tag}>\n{items}\n</{tag}>" if items else ""


def terms(pairs: Iterable[tuple[str, str]]) -> str:
    """Terms with what they mean."""
    rows = "\n".join(f"{element('dt', term)}{element('dd', text)}" for term, text in pairs)
    return f"<dl>\n{rows}\n</dl>"


def section(key: str, title: str, *parts: str) -> str:
    """A section named by its heading of level two."""
    body = "\n".join(part for part in parts if part)
    head = element("h2", title, id=key)
    return f'<section aria-labelledby="{escape(key)}">\n{head}\n{body}\n</section>'


def table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table whose first cell of each row heads it; it scrolls by itself when too wide."""
    head = "".join(element("th", text, scope="col") for text in heads)
    body = "\n".join(
        f"<tr>{element('th', row[0], scope='row')}"
        f"{''.join(element('td', cell) for cell in row[1:])}</tr>"
        for row in rows
    )
    wide = ' class="wide"' if len(heads) > WIDE_COLUMNS else ""
    return (
        f'<div class="scroll" role="region" tabindex="0" aria-label="{escape(caption)}">\n'
        f"<table{wide}>\n{element('caption', caption)}\n<thead><tr>{head}</tr></thead>\n"
        f"<tbody>\n{body}\n</tbody>\n</table>\n</div>"
    )


def chart(wide: Sheet, narrow: Sheet, alternative: str) -> str:
    """Both widths of one chart as images in the page; the screen picks one."""
    return (
        f'<figure><picture>\n<source media="(max-width: {PHONE_PX}px)" srcset="{_data(narrow)}">\n'
        f'<img alt="{escape(alternative)}" src="{_data(wide)}">\n</picture></figure>'
    )


def page(title: str, header: str, main: str, footer: str) -> str:
    """The whole page; the style sheet goes inside it, so that one file is enough."""
    template = Template((TEMPLATES / "page.html").read_text(encoding="utf-8"))
    style = (TEMPLATES / "page.css").read_text(encoding="utf-8")
    return template.substitute(
        title=escape(title), style=style, header=header, main=main, footer=footer
    )


def _data(sheet: Sheet) -> str:
    coded = base64.b64encode(svg_text(sheet).encode("utf-8")).decode("ascii")
    return f"data:image/svg+xml;base64,{coded}"


def _attributes(attributes: dict[str, str]) -> str:
    return "".join(f' {name.rstrip("_")}="{escape(value)}"' for name, value in attributes.items())
