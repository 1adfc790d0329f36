"""What the archive is, for people and catalogues: eml.xml (Ecological Metadata Language 2.2.0)."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from sheet_reader.results.formats.darwin_core.events import VisitEvent, place
from sheet_reader.study.model import Study
from sheet_reader.study.publication import LICENCES

NAMESPACE = "https://eml.ecoinformatics.org/eml-2.2.0"


def eml(study: Study, visits: Sequence[VisitEvent]) -> bytes:
    """The metadata of the study; the same study and visits give the same bytes."""
    root = Element(
        "eml:eml",
        {"xmlns:eml": NAMESPACE, "packageId": study.key, "system": "sheet_reader"},
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
    indent(root)
    text: bytes = tostring(root, encoding="UTF-8", xml_declaration=True)
    return text + b"\n"


def _coverage(study: Study, visits: Sequence[VisitEvent], dataset: Element) -> None:
    """Place (the box around the sites visited, from their coordinates as they are told), time and
    taxa, each where it is known and may be told.
    """
    coverage = Element("coverage")
    told = [place(study, number) for number in {visit.site for visit in visits}]
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
