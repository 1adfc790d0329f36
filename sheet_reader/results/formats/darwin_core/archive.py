"""The archive itself: a zip file of tables, meta.xml, and eml.xml for people and catalogues."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from sheet_reader.results.formats.darwin_core import events, extensions
from sheet_reader.results.frames import Tables
from sheet_reader.study.publication import LICENCES
from sheet_reader.study.study import Study

NAME = "darwin-core.zip"
THEN = (1980, 1, 1, 0, 0, 0)
"""The time of every file in the zip: the same tables give the same bytes."""
DWC = "http://rs.tdwg.org/dwc/terms/"
DC = "http://purl.org/dc/terms/"
ECO = "http://rs.tdwg.org/eco/terms/"
EML = "https://eml.ecoinformatics.org/eml-2.2.0"
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
    visits = events.visits_of(study, tables)
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


def _tables(study: Study, visits: Sequence[events.VisitEvent]) -> list[ArchiveTable]:
    """The core, then the extensions."""
    said = study.publication
    always = {f"{DWC}datasetName": study.title}
    if said.licence:
        always[f"{DC}license"] = LICENCES[said.licence][0]
    if said.country:
        always[f"{DWC}countryCode"] = said.country
    return [
        ArchiveTable("event.txt", f"{DWC}Event", _terms(events.EVENT_TERMS),
                     events.event_lines(study, visits), always),
        ArchiveTable("occurrence.txt", f"{DWC}Occurrence", _terms(extensions.OCCURRENCE_TERMS),
                     extensions.occurrence_lines(visits)),
        ArchiveTable("measurementorfact.txt", f"{DWC}MeasurementOrFact",
                     _terms(extensions.MEASUREMENT_TERMS),
                     extensions.measurement_lines(study, visits)),
        ArchiveTable("humboldt.txt", f"{ECO}Event", _terms(extensions.HUMBOLDT_TERMS, ECO),
                     extensions.humboldt_lines(study, visits)),
    ]  # fmt: skip


def _terms(names: Sequence[str], namespace: str = DWC) -> tuple[str, ...]:
    places = {"eventID": DWC, "modified": DC}
    return tuple(places.get(name, namespace) + name for name in names)


def _meta(tables: Sequence[ArchiveTable]) -> bytes:
    archive = Element("archive", {"xmlns": TEXT, "metadata": "eml.xml"})
    for number, table in enumerate(tables):
        table.described(archive, core=number == 0)
    return _written(archive)


def _written(root: Element) -> bytes:
    indent(root)
    text: bytes = tostring(root, encoding="UTF-8", xml_declaration=True)
    return text + b"\n"


def eml(study: Study, visits: Sequence[events.VisitEvent]) -> bytes:
    """The metadata of the study; the same study and visits give the same bytes."""
    root = Element(
        "eml:eml", {"xmlns:eml": EML, "packageId": study.key, "system": "sheet_reader"}
    )
    dataset = SubElement(root, "dataset")
    _text(dataset, "title", study.title)
    said = study.publication
    who = said.publisher or f"The study “{study.title}”"
    _text(SubElement(dataset, "creator"), "organizationName", who)
    abstract = said.description or study.title
    _text(SubElement(dataset, "abstract"), "para", abstract)
    if said.licence:
        path, title = LICENCES[said.licence]
        _text(SubElement(dataset, "intellectualRights"), "para", f"{title}, {path}")
        licensed = SubElement(dataset, "licensed")
        _text(licensed, "licenseName", title)
        _text(licensed, "url", path)
        _text(licensed, "identifier", said.licence)
    _coverage(study, visits, dataset)
    _text(SubElement(dataset, "contact"), "organizationName", who)
    steps = SubElement(SubElement(dataset, "methods"), "methodStep")
    description = SubElement(steps, "description")
    for line in study.instructions or (study.title,):
        _text(description, "para", line)
    if said.citation:
        more = SubElement(SubElement(root, "additionalMetadata"), "metadata")
        _text(SubElement(more, "gbif"), "citation", said.citation)
    return _written(root)


def _coverage(study: Study, visits: Sequence[events.VisitEvent], dataset: Element) -> None:
    """Place (the box around the sites visited, from their coordinates as they are told), time and
    taxa, each where it is known and may be told.
    """
    coverage = Element("coverage")
    told = [events.place(study, number) for number in {visit.site for visit in visits}]
    points = [(float(t[2]), float(t[3])) for t in told if t[2]]
    if points:
        latitudes, longitudes = zip(*points, strict=True)
        area = SubElement(coverage, "geographicCoverage")
        around = "around the sites, as exactly as the study tells them"
        _text(area, "geographicDescription", around)
        box = SubElement(area, "boundingCoordinates")
        for side, degrees in (("west", min(longitudes)), ("east", max(longitudes)),
                              ("north", max(latitudes)), ("south", min(latitudes))):  # fmt: skip
            _text(box, f"{side}BoundingCoordinate", str(degrees))
    if visits:
        days = sorted(visit.day for visit in visits)
        span = SubElement(SubElement(coverage, "temporalCoverage"), "rangeOfDates")
        for name, day in (("beginDate", days[0]), ("endDate", days[-1])):
            _text(SubElement(span, name), "calendarDate", day)
    taxa = dict.fromkeys(count.taxon for count in study.counts if count.taxon)
    if taxa:
        taxonomic = SubElement(coverage, "taxonomicCoverage")
        for taxon in taxa:
            _text(SubElement(taxonomic, "taxonomicClassification"), "taxonRankValue", taxon)
    if len(coverage):
        dataset.append(coverage)


def _text(parent: Element, name: str, text: str) -> None:
    SubElement(parent, name).text = text
