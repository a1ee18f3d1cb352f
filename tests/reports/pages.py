"""Reading a page back the way a browser would: its elements, their attributes, the text."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = frozenset({"meta", "link", "input", "br", "img"})


@dataclass
class Page(HTMLParser):
    """Elements in order as (tag, attributes), and the visible text with what stands in scripts apart."""

    elements: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    text: str = ""
    raw: dict[str, list[str]] = field(default_factory=lambda: {"script": [], "style": []})

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self._open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)
        if tag in self.raw:
            self.raw[tag].append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag, f"</{tag}> closes another element"

    def handle_data(self, data: str) -> None:
        inside = self._open[-1] if self._open else ""
        if inside in self.raw:
            self.raw[inside][-1] += data
        else:
            self.text += data

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """The attributes of every element of a tag."""
        return [attributes for name, attributes in self.elements if name == tag]

    @property
    def words(self) -> str:
        """The text with white space evened out."""
        return " ".join(self.text.split())


def read_page(html: str) -> Page:
    """A page read back; every element must be closed in order."""
    page = Page()
    page.feed(html)
    page.close()
    assert page._open == []
    return page
