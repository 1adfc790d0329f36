"""The archive itself: a zip file of tables, meta.xml and eml.xml."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from sheet_reader.results.formats.darwin_core.eml import eml
from sheet_reader.results.formats.darwin_core.events import (
    EVENT_TERMS,
    VisitEvent,
    event_lines,
    visits_of,
)
from sheet_reader.results.formats.darwin_core.extensions import (
    HUMBOLDT_TERMS,
    MEASUREMENT_TERMS,
    OCCURRENCE_TERMS,
    humboldt_lines,
    measurement_lines,
    occurrence_lines,
)
from sheet_reader.results.frames import Tables
from sheet_reader.study.model import Study
from sheet_reader.study.publication import LICENCES

NAME = "darwin-core.zip"
THEN = (1980, 1, 1, 0, 0, 0)
"""The time of every file in the zip: the same tables give the same bytes."""
DWC = "http://rs.tdwg.org/dwc/terms/"
DC = "http://purl.org/dc/terms/"
ECO = "http://rs.tdwg.org/eco/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"
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
    always: Mapping[str, str] = field(default_factory=dict)

    def data(self) -> bytes:
        """The file: UTF-8, tabs between the cells, a header line, nothing quoted."""
        head = "\t".join(term.rsplit("/", 1)[1] for term in self.terms)
        body = ["\t".join(map(_on_one_line, line)) for line in self.lines]
        return ("\n".join([head, *body]) + "\n").encode()

    def described(self, archive: Element, *, core: bool) -> None:
        """Add the file's entry to meta.xml."""
        written = {
            "encoding": "UTF-8", "fieldsTerminatedBy": "\\t", "linesTerminatedBy": "\\n",
            "fieldsEnclosedBy": "", "ignoreHeaderLines": "1", "rowType": self.row_type,
        }  # fmt: skip
        element = SubElement(archive, "core" if core else "extension", written)
        SubElement(SubElement(element, "files"), "location").text = self.name
        SubElement(element, "id" if core else "coreid", {"index": "0"})
        for index, term in enumerate(self.terms):
            if core or index > 0:
                SubElement(element, "field", {"index": str(index), "term": term})
        for term, value in self.always.items():
            SubElement(element, "field", {"term": term, "default": value})


def darwin_core(study: Study, tables: Tables) -> dict[str, bytes]:
    """``darwin-core.zip``."""
    visits = visits_of(study, tables)
    archived = _tables(study, visits)
    files = {table.name: table.data() for table in archived}
    files |= {"meta.xml": _meta(archived), "eml.xml": eml(study, visits)}
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, THEN)
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, data, zipfile.ZIP_DEFLATED)
    return {NAME: stream.getvalue()}


def _tables(study: Study, visits: Sequence[VisitEvent]) -> list[ArchiveTable]:
    """The core, then the extensions."""
    said = study.publication
    always = {f"{DWC}datasetName": study.title}
    if said.licence:
        always[f"{DC}license"] = LICENCES[said.licence][0]
    if said.country:
        always[f"{DWC}countryCode"] = said.country
    return [
        ArchiveTable("event.txt", f"{DWC}Event", _terms(EVENT_TERMS), event_lines(study, visits),
                     always),
        ArchiveTable("occurrence.txt", f"{DWC}Occurrence", _terms(OCCURRENCE_TERMS),
                     occurrence_lines(visits)),
        ArchiveTable("measurementorfact.txt", f"{DWC}MeasurementOrFact", _terms(MEASUREMENT_TERMS),
                     measurement_lines(study, visits)),
        ArchiveTable("humboldt.txt", f"{ECO}Event", _terms(HUMBOLDT_TERMS, ECO),
                     humboldt_lines(study, visits)),
    ]  # fmt: skip


def _terms(names: Sequence[str], namespace: str = DWC) -> tuple[str, ...]:
    places = {"eventID": DWC, "modified": DC}
    return tuple(places.get(name, namespace) + name for name in names)


def _meta(tables: Sequence[ArchiveTable]) -> bytes:
    archive = Element("archive", {"xmlns": TEXT, "metadata": "eml.xml"})
    for number, table in enumerate(tables):
        table.described(archive, core=number == 0)
    indent(archive)
    text: bytes = tostring(archive, encoding="UTF-8", xml_declaration=True)
    return text + b"\n"
