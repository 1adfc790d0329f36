"""What an update is made of, before it is a page: sections with texts, tables and pictures."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.results.update.canvas import Drawing


@dataclass(frozen=True, slots=True)
class Table:
    """Text cells. The first column names its line; the first ``texts`` columns hold texts, the
    others numbers.
    """

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    texts: int = 1


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing with its caption, its text alternative and the same numbers as a table (None
    where an earlier picture has shown it).
    """

    name: str
    drawing: Drawing
    caption: str
    alt: str
    table: Table | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """A piece of her own text: "heading" and "text" have one line, a "list" one for each item."""

    kind: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the update. ``key`` is its anchor; ``strong`` is its main sentence, if any;
    ``fine`` are remarks for those who want to know.
    """

    key: str
    heading: str
    strong: str = ""
    texts: tuple[str, ...] = ()
    items: tuple[str, ...] = ()
    fine: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True, slots=True)
class Content:
    """A whole update, ready to be set: as HTML by ``page``, as PDF by ``printed``."""

    language: str
    title: str
    page_title: str
    lead: str
    remark: str
    notes: tuple[Note, ...]
    sections: tuple[Section, ...]
    numbers_behind: str
    footer: str
    accessible_form: str


def parse_notes(text: str) -> tuple[Note, ...]:
    """Her own text in blocks: an empty line parts paragraphs, lines that start with "- " are a
    list, a line that starts with "# " (or more of them) is a heading. Nothing else has a meaning.
    """
    notes: list[Note] = []
    paragraph: list[str] = []
    items: list[str] = []

    def close() -> None:
        if paragraph:
            notes.append(Note("text", (" ".join(paragraph),)))
        if items:
            notes.append(Note("list", tuple(items)))
        paragraph.clear()
        items.clear()

    for line in text.splitlines():
        bare = line.strip()
        if not bare:
            close()
        elif bare.startswith("#") and bare.lstrip("#").startswith(" "):
            close()
            notes.append(Note("heading", (bare.lstrip("#").strip(),)))
        elif bare.startswith("- "):
            if paragraph:
                close()
            items.append(bare[2:].strip())
        elif items:
            items[-1] += f" {bare}"
        else:
            paragraph.append(bare)
    close()
    return tuple(notes)
