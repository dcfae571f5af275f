"""XML from strangers: elements and attributes only; document types, entities and anything very large are refused."""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.parsers import expat
from xml.sax.saxutils import quoteattr

from evenstand.base.errors import FileError

MOST_BYTES = 128 * 1024 * 1024
"""Most bytes of one XML file. [byte]"""
MOST_ELEMENTS = 1_500_000
"""Most elements of one XML file: some 500 bytes of memory each. [-]"""
MOST_DEPTH = 60


@dataclass(slots=True)
class Element:
    """One element: its name, attributes and children, in order."""

    tag: str
    attributes: dict[str, str] = field(default_factory=dict)
    children: list[Element] = field(default_factory=list)

    def get(self, letter: str, default: str = "") -> str:
        """An attribute, or the default where it is absent."""
        return self.attributes.get(letter, default)

    def all(self, tag: str) -> list[Element]:
        """The children of that name."""
        return [c for c in self.children if c.tag == tag]

    def add(self, tag: str, **attributes: object) -> Element:
        """Add a child; attributes that are None are left out."""
        child = Element(tag, {k: str(v) for k, v in attributes.items() if v is not None})
        self.children.append(child)
        return child


def parse(text: bytes, where: str) -> Element:
    """The root element of an XML file.

    Parameters
    ----------
    text : bytes
        The file. [-]
    where : str
        Its name, for errors. [-]

    Returns
    -------
    Element
        The root. [-]

    Raises
    ------
    FileError
        If it is no XML, declares a document type or entities, or is larger or deeper than any task data.
    """
    if len(text) > MOST_BYTES:
        raise FileError(
            f"{len(text) / 1e6:,.0f} MB of XML", where=where, limit=f"at most {MOST_BYTES / 1e6:,.0f} MB", cure="Split the task."
        )
    roots: list[Element] = []
    open_: list[Element] = []
    count = 0

    def begin(tag: str, attributes: dict[str, str]) -> None:
        nonlocal count
        count += 1
        if count > MOST_ELEMENTS or len(open_) >= MOST_DEPTH:
            raise FileError("more elements than any task data holds", where=where, limit=f"{MOST_ELEMENTS:,} elements, {MOST_DEPTH} deep")
        element = Element(tag, dict(attributes))
        (open_[-1].children if open_ else roots).append(element)
        open_.append(element)

    def refuse(*_: object) -> int:
        raise FileError(
            "it declares a document type or entities, which task data never does",
            where=where,
            cure="Do not trust this file; export it again.",
        )

    reader = expat.ParserCreate()
    reader.StartElementHandler = begin
    reader.EndElementHandler = lambda tag: open_.pop()
    reader.StartDoctypeDeclHandler = refuse
    reader.EntityDeclHandler = refuse
    reader.ExternalEntityRefHandler = refuse
    try:
        reader.Parse(text, True)
    except expat.ExpatError as error:
        raise FileError(
            f"is no whole XML file ({expat.errors.messages.get(error.code, error)}, line {error.lineno})",
            where=where,
            cure="Export it again.",
        ) from error
    except (UnicodeError, ValueError, LookupError) as error:
        raise FileError(f"its text cannot be decoded ({error})", where=where, cure="Export it again.") from error
    return roots[0]


def text_of(root: Element) -> bytes:
    """An XML file in UTF-8, two spaces an indent."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>']

    def write(element: Element, depth: int) -> None:
        head = "  " * depth + "<" + element.tag + "".join(f" {k}={quoteattr(v)}" for k, v in element.attributes.items())
        if not element.children:
            lines.append(head + "/>")
            return
        lines.append(head + ">")
        for child in element.children:
            write(child, depth + 1)
        lines.append("  " * depth + f"</{element.tag}>")

    write(root, 0)
    return ("\n".join(lines) + "\n").encode("utf-8")
