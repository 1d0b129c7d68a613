"""A page as its elements, read with the standard library's HTML parser: a reader apart from the templates."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

VOID = {"meta", "br", "link", "img", "input", "hr"}


@dataclass
class Element:
    tag: str
    attributes: dict[str, str | None]
    children: list[Element | str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """All text inside, white space joined."""
        return " ".join("".join(self._texts()).split())

    def _texts(self) -> list[str]:
        return [
            text for child in self.children for text in ([child] if isinstance(child, str) else [*child._texts(), " "])
        ]

    @property
    def classes(self) -> set[str]:
        return set((self.attributes.get("class") or "").split())

    def all(self, tag: str = "", css: str = "", **attributes: str) -> list[Element]:
        """Every element beneath with this tag, class and attributes, in the order of the page."""
        found = []
        for child in self.children:
            if isinstance(child, Element):
                fits = (not tag or child.tag == tag) and (not css or css in child.classes)
                if fits and all(child.attributes.get(name) == value for name, value in attributes.items()):
                    found.append(child)
                found += child.all(tag, css, **attributes)
        return found

    def one(self, tag: str = "", css: str = "", **attributes: str) -> Element:
        found = self.all(tag, css, **attributes)
        assert len(found) == 1, (tag, css, attributes, len(found))
        return found[0]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, dict(attrs))
        self.open[-1].children.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].children.append(Element(tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def read_page(path: Path) -> Element:
    """The page of ``path``; every element must be closed in order."""
    reader = _Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    reader.close()
    assert len(reader.open) == 1, [element.tag for element in reader.open]
    return reader.root


def rows_of(table: Element) -> list[list[str]]:
    """Body rows as texts."""
    return [
        [cell.text for cell in row.children if isinstance(cell, Element)]
        for body in table.all("tbody")
        for row in body.all("tr")
    ]
