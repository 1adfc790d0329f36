"""Tables of an archive: rows by term, and the entry in meta.xml that describes them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement

DWC = "http://rs.tdwg.org/dwc/terms/"
DC = "http://purl.org/dc/terms/"
ECO = "http://rs.tdwg.org/eco/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"
ID = f"{DWC}eventID"
_BREAKS = str.maketrans({"\t": " ", "\r": " ", "\n": " "})


@lru_cache(maxsize=65_536)
def _on_one_line(cell: str) -> str:
    return cell.translate(_BREAKS)


@dataclass(frozen=True, slots=True)
class ArchiveTable:
    """One file of the archive. ``lines`` have a value per term of ``terms``; the first term is the
    event that a line belongs to. ``always`` are terms with one value for all lines.
    """

    name: str
    row_type: str
    terms: tuple[str, ...]
    lines: Sequence[Sequence[str]]
    always: Mapping[str, str]

    def data(self) -> bytes:
        """The file: UTF-8, tabs between the cells, a header line, nothing quoted."""
        head = "\t".join(term.rsplit("/", 1)[1] for term in self.terms)
        body = ["\t".join(map(_on_one_line, line)) for line in self.lines]
        return ("\n".join([head, *body]) + "\n").encode()

    def described(self, archive: Element, *, core: bool) -> None:
        """Add the file's entry to meta.xml."""
        element = SubElement(
            archive,
            "core" if core else "extension",
            {
                "encoding": "UTF-8",
                "fieldsTerminatedBy": "\\t",
                "linesTerminatedBy": "\\n",
                "fieldsEnclosedBy": "",
                "ignoreHeaderLines": "1",
                "rowType": self.row_type,
            },
        )
        SubElement(SubElement(element, "files"), "location").text = self.name
        SubElement(element, "id" if core else "coreid", {"index": "0"})
        for index, term in enumerate(self.terms):
            if core or index > 0:
                SubElement(element, "field", {"index": str(index), "term": term})
        for term, value in self.always.items():
            SubElement(element, "field", {"term": term, "default": value})
