"""The archive itself: a zip file of tables, meta.xml and eml.xml."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from xml.etree.ElementTree import Element, indent, tostring

from sheet_reader.results.formats.darwin_core.eml import eml
from sheet_reader.results.formats.darwin_core.events import (
    EVENT_TERMS,
    MEASUREMENT_TERMS,
    OCCURRENCE_TERMS,
    VisitEvent,
    event_lines,
    measurement_lines,
    occurrence_lines,
    visits_of,
)
from sheet_reader.results.formats.darwin_core.humboldt import HUMBOLDT_TERMS, humboldt_lines
from sheet_reader.results.formats.darwin_core.tables import DC, DWC, ECO, ID, TEXT, ArchiveTable
from sheet_reader.results.frames import Tables
from sheet_reader.study.model import Study
from sheet_reader.study.publication import LICENCES

NAME = "darwin-core.zip"
THEN = (1980, 1, 1, 0, 0, 0)
"""The time of every file in the zip: the same tables give the same bytes."""


def darwin_core(study: Study, tables: Tables) -> dict[str, bytes]:
    """``darwin-core.zip``."""
    visits = visits_of(study, tables)
    core, *extensions = _tables(study, visits)
    files = {table.name: table.data() for table in (core, *extensions)}
    files |= {"meta.xml": _meta(core, extensions), "eml.xml": eml(study, visits)}
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, THEN)
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, data, zipfile.ZIP_DEFLATED)
    return {NAME: stream.getvalue()}


def _tables(study: Study, visits: Sequence[VisitEvent]) -> tuple[ArchiveTable, ...]:
    always = {f"{DWC}datasetName": study.title}
    if study.publication.licence:
        always[f"{DC}license"] = LICENCES[study.publication.licence][0]
    if study.publication.country:
        always[f"{DWC}countryCode"] = study.publication.country
    occurrence, measurement = f"{DWC}Occurrence", f"{DWC}MeasurementOrFact"
    events = event_lines(study, visits)
    return (
        ArchiveTable("event.txt", f"{DWC}Event", _terms(EVENT_TERMS), events, always),
        ArchiveTable(
            "occurrence.txt", occurrence, _terms(OCCURRENCE_TERMS),
            occurrence_lines(visits), {},
        ),
        ArchiveTable(
            "measurementorfact.txt", measurement, _terms(MEASUREMENT_TERMS),
            measurement_lines(study, visits), {},
        ),
        ArchiveTable(
            "humboldt.txt", f"{ECO}Event",
            (ID, *(ECO + name for name in HUMBOLDT_TERMS)), humboldt_lines(study, visits), {},
        ),
    )  # fmt: skip


def _terms(names: Sequence[str]) -> tuple[str, ...]:
    return tuple((DC if name == "modified" else DWC) + name for name in names)


def _meta(core: ArchiveTable, extensions: Sequence[ArchiveTable]) -> bytes:
    archive = Element("archive", {"xmlns": TEXT, "metadata": "eml.xml"})
    core.described(archive, core=True)
    for extension in extensions:
        extension.described(archive, core=False)
    indent(archive)
    text: bytes = tostring(archive, encoding="UTF-8", xml_declaration=True)
    return text + b"\n"
