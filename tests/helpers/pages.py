"""HTML pages: their elements, tables and text, by the parser of the standard library."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

EMPTY = {"meta", "img", "br", "hr", "input", "link", "base"}
"""Elements without an end tag."""


@dataclass
class Element:
    tag: str
    attributes: dict
    parts: list = field(default_factory=list)

    @property
    def elements(self):
        """All elements within, itself first."""
        found = [self]
        for part in self.parts:
            if isinstance(part, Element):
                found += part.elements
        return found

    @property
    def words(self):
        """Its visible text."""
        if self.tag in ("script", "style"):
            return ""
        text = "".join(part.words if isinstance(part, Element) else part for part in self.parts)
        return " ".join(text.split())

    def all(self, *tags):
        return [element for element in self.elements if element.tag in tags]

    def one(self, tag, **attributes):
        """The first element of a tag that has these attributes."""
        return next(
            element
            for element in self.all(tag)
            if all(element.attributes.get(name) == value for name, value in attributes.items())
        )

    def tables(self):
        """Its tables by their captions: the rows of cells, without the head."""
        return {
            table.one("caption").words: [
                [cell.words for cell in row.all("th", "td")] for row in table.one("tbody").all("tr")
            ]
            for table in self.all("table")
        }


class _Builder(HTMLParser):
    def __init__(self):
        super().__init__()
        self.root = Element("page", {})
        self._open = [self.root]

    def handle_starttag(self, tag, attrs):
        element = Element(tag, dict(attrs))
        self._open[-1].parts.append(element)
        if tag not in EMPTY:
            self._open.append(element)

    def handle_startendtag(self, tag, attrs):
        self._open[-1].parts.append(Element(tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert tag not in EMPTY and self._open[-1].tag == tag, (
            f"</{tag}> ends no <{self._open[-1].tag}>"
        )
        self._open.pop()

    def handle_data(self, data):
        self._open[-1].parts.append(data)


def read(text):
    """Return a page; an element that is not closed, or closed twice, fails."""
    builder = _Builder()
    builder.feed(text)
    builder.close()
    assert builder._open == [builder.root], f"<{builder._open[-1].tag}> is not closed"
    return builder.root
