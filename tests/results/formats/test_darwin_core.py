"""The Darwin Core Archive: the published schemas and lists of terms, and the rules on zeros.

The schemas and lists are those of tdwg/dwc, gbif/rs.gbif.org and EML 2.2.0; where they are not
here, a smaller check of our own still runs.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from zipfile import ZipFile

import pytest
from made_facts import facts, visit

from sheet_reader.results.facts import Facts
from sheet_reader.results.formats import format_named
from sheet_reader.results.frames import Tables, tables_of
from sheet_reader.study.study import Study

TEXT = "{http://rs.tdwg.org/dwc/text/}"
LISTS = {
    "http://rs.tdwg.org/dwc/terms/Event": "dwc_event_2025-07-10.xml",
    "http://rs.tdwg.org/dwc/terms/Occurrence": "dwc_occurrence_2025-07-10.xml",
    "http://rs.tdwg.org/dwc/terms/MeasurementOrFact": "measurements_or_facts_2025-07-10.xml",
    "http://rs.tdwg.org/eco/terms/Event": "humboldt_2025-07-10.xml",
}
NOT_IN_LISTS = {"http://rs.tdwg.org/dwc/terms/eventID"}


def archive_of(study: Study, tables: Tables) -> ZipFile:
    return ZipFile(io.BytesIO(format_named("darwin-core")(study, tables)["darwin-core.zip"]))


def lines(archive: ZipFile, name: str) -> list[dict[str, str]]:
    text = io.StringIO(archive.read(f"{name}.txt").decode(), newline="")
    return list(csv.DictReader(text, delimiter="\t", quoting=csv.QUOTE_NONE))


@pytest.fixture
def archive(study: Study, tables: Tables) -> Iterator[ZipFile]:
    with archive_of(study, tables) as found:
        yield found


def _described(archive: ZipFile) -> Iterator[tuple[str, list[str], list[str]]]:
    """Row type, terms by column, and the header of each file, as meta.xml describes them."""
    for part in ElementTree.fromstring(archive.read("meta.xml")):
        terms = [f.attrib["term"] for f in part.findall(f"{TEXT}field")]
        name = part.find(f"{TEXT}files/{TEXT}location")
        assert name is not None
        assert name.text is not None
        header = archive.read(name.text).decode().split("\n", 1)[0].split("\t")
        yield part.attrib["rowType"], terms, header


def test_meta_fits_the_files(archive: ZipFile) -> None:
    for _, terms, header in _described(archive):
        own = [term.rsplit("/", 1)[1] for term in terms]
        assert len(set(terms)) == len(terms)
        core = own[0] == "eventID"
        columns = header if core else header[1:]
        assert own[: len(columns)] == columns
        assert header[0] == "eventID"


def test_meta_follows_the_schema(archive: ZipFile, standards: Path) -> None:
    etree = pytest.importorskip("lxml.etree")
    # tdwg_dwc_text.xsd imports two schemas from the web for names it does not use in our archive
    text = (standards / "darwin_core" / "tdwg_dwc_text.xsd").read_text(encoding="utf-8")
    text = re.sub(r"<xs:import[^>]*?(/>|>.*?</xs:import>)", "", text, flags=re.DOTALL)
    schema = etree.XMLSchema(etree.fromstring(text.encode()))
    schema.assertValid(etree.fromstring(archive.read("meta.xml")))


@pytest.mark.parametrize("publication", ["full", "bare"])
def test_eml_follows_the_schema(
    publication: str, study: Study, tables: Tables, standards: Path
) -> None:
    etree = pytest.importorskip("lxml.etree")
    if publication == "full":
        said = replace(study.publication, place_decimals=2, description="What we count.")
        study = replace(study, publication=said)
    else:
        study = replace(study, publication=type(study.publication)(), instructions=())
    schema = etree.XMLSchema(etree.parse(str(standards / "eml-2.2.0" / "eml.xsd")))
    root = etree.fromstring(archive_of(study, tables).read("eml.xml"))
    schema.assertValid(root)
    assert (root.find("dataset/licensed") is not None) == (publication == "full")


def test_every_term_is_on_its_published_list(archive: ZipFile, standards: Path) -> None:
    for row_type, terms, _ in _described(archive):
        text = (standards / "darwin_core" / LISTS[row_type]).read_text(encoding="utf-8")
        published = set(re.findall(r"qualName='([^']+)'", text))
        assert f"rowType='{row_type}'" in text
        assert set(terms) <= published
    assert len(published) == 57  # the Humboldt extension of 2025-07-10


def test_terms_have_the_form_of_terms(archive: ZipFile) -> None:
    """The smaller check, without the lists."""
    for row_type, terms, _ in _described(archive):
        assert row_type in LISTS
        for term in terms:
            assert re.fullmatch(
                r"http://(rs\.tdwg\.org/(dwc|eco)/terms|purl\.org/dc/terms)/[a-z][A-Za-z]+", term
            )


def test_python_dwca_reader_reads_it_back(
    study: Study, tables: Tables, tmp_path: Path, archive: ZipFile
) -> None:
    read = pytest.importorskip("dwca.read")
    path = tmp_path / "archive.zip"
    path.write_bytes(format_named("darwin-core")(study, tables)["darwin-core.zip"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with read.DwCAReader(str(path)) as found:
            core: list[Any] = list(found)
            extensions = [extension for row in core for extension in row.extensions]
    assert len(core) == len(lines(archive, "event"))
    expected = sum(
        len(lines(archive, n)) for n in ("occurrence", "measurementorfact", "humboldt")
    )
    assert len(extensions) == expected
    assert {row.data["http://purl.org/dc/terms/license"] for row in core} == {
        "https://creativecommons.org/licenses/by/4.0/legalcode"
    }


# Darwin Core, dwc:occurrenceStatus and dwc:individualCount; GBIF, "Data quality requirements:
# occurrence datasets": a count of 0 with "present" contradicts itself (from memory).
def test_a_zero_is_absent_and_nothing_else_is(archive: ZipFile) -> None:
    found = lines(archive, "occurrence")
    for line in found:
        zero = line["organismQuantity"] == "0"
        assert line["occurrenceStatus"] == ("absent" if zero else "present")
        assert (line["individualCount"] == "0") == zero
        assert line["organismQuantity"].isdecimal() == bool(line["organismQuantityType"])
    assert {line["occurrenceStatus"] for line in found} == {"present", "absent"}


def occurrences(archive: ZipFile) -> dict[tuple[str, str, str], dict[str, str]]:
    """By day, plot and taxon; there must be one at most."""
    days = {line["eventID"]: line["eventDate"] for line in lines(archive, "event")}
    found = {
        (days[x["eventID"]], x["eventID"].rpartition(":")[2], x["scientificName"]): x
        for x in lines(archive, "occurrence")
    }
    assert len(found) == len(lines(archive, "occurrence"))
    return found


def test_a_taxon_has_one_occurrence_with_its_whole_quantity(archive: ZipFile) -> None:
    found = occurrences(archive)
    said = {
        key: (x["occurrenceStatus"], x["organismQuantity"]) for key, x in found.items()
    }
    assert said == {
        ("2026-05-20", "pinched", "Aphis fabae"): ("absent", "0"),
        ("2026-05-20", "pinched", "Coccinellidae"): ("present", "8"),
        ("2026-05-20", "unpinched", "Aphis fabae"): ("absent", "0"),
        ("2026-05-20", "unpinched", "Coccinellidae"): ("present", "8"),
        # one stage is empty and the total can't be read: present, and nobody knows how many
        ("2026-05-21", "pinched", "Coccinellidae"): ("present", ""),
        ("2026-05-21", "unpinched", "Aphis fabae"): ("absent", "0"),
        ("2026-05-21", "unpinched", "Coccinellidae"): ("present", "8"),
    }
    unsure = found["2026-05-21", "pinched", "Coccinellidae"]
    assert unsure["occurrenceRemarks"] == "not recorded: Ladybird egg clusters"


def test_stages_and_totals_are_measurements(archive: ZipFile) -> None:
    events = {line["eventID"]: line for line in lines(archive, "event")}
    told = [
        (x["measurementType"], x["measurementValue"], x["measurementRemarks"])
        for x in lines(archive, "measurementorfact")
        if events[x["eventID"]]["eventDate"] == "2026-05-20"
        and x["eventID"].endswith(":pinched")
        and "Coccinellidae" in x["measurementRemarks"]
    ]
    assert told == [
        ("Ladybird egg clusters", "3", "Coccinellidae; egg"),
        ("Ladybird larvae under 5 mm", "0", "Coccinellidae; larva"),
        ("Ladybird larvae, 5 mm or longer", "5", "Coccinellidae; larva"),
        ("Total of the three ladybird counts", "8", "Coccinellidae"),
    ]


def test_a_total_of_several_taxa_is_nobodys_occurrence(study: Study) -> None:
    counts = [
        replace(c, taxon="Adalia bipunctata") if c.name == "egg_clusters" else c
        for c in study.counts
    ]
    mixed = replace(study, counts=tuple(counts))
    values = {"pinched.egg_clusters": 3, "pinched.small_larvae": 1, "pinched.large_larvae": 4,
              "pinched.ladybirds": 8}  # fmt: skip
    tables = tables_of(mixed, facts(visit(study.sites[0].number, values=values)))
    with archive_of(mixed, tables) as archive:
        said = {x["scientificName"]: x["organismQuantity"] for x in lines(archive, "occurrence")}
    assert said == {"Adalia bipunctata": "3", "Coccinellidae": "5"}


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"egg_clusters": 0, "small_larvae": 0, "large_larvae": 0}, ("absent", "0")),
        ({"egg_clusters": 0, "small_larvae": 0, "large_larvae": "empty"}, None),
        ({"egg_clusters": 0, "small_larvae": 0, "ladybirds": 0}, ("absent", "0")),
        ({"egg_clusters": 2, "small_larvae": 0, "ladybirds": 0}, ("present", "")),
        ({"egg_clusters": 2, "small_larvae": 1, "large_larvae": 0}, ("present", "3")),
    ],
)
def test_an_absence_needs_all_of_a_taxon(
    study: Study, values: dict[str, int | str], said: tuple[str, str] | None
) -> None:
    named = {f"pinched.{name}": value for name, value in values.items()}
    found = facts(visit(study.sites[0].number, values=named))
    with archive_of(study, tables_of(study, found)) as archive:
        told = [
            (x["occurrenceStatus"], x["organismQuantity"]) for x in lines(archive, "occurrence")
        ]
    assert told == ([said] if said else [])


def test_only_a_unit_of_individuals_makes_a_number_one_of_individuals(archive: ZipFile) -> None:
    for line in lines(archive, "occurrence"):
        if line["occurrenceStatus"] == "present":
            is_individuals = line["organismQuantityType"] == "individuals"
            assert bool(line["individualCount"]) == is_individuals


def test_no_name_is_guessed(study: Study, archive: ZipFile) -> None:
    taxa = {count.taxon for count in study.counts if count.taxon}
    assert {line["scientificName"] for line in lines(archive, "occurrence")} == taxa
    measured = {line["measurementType"] for line in lines(archive, "measurementorfact")}
    stages = {count.label for count in study.counts if count.taxon == "Coccinellidae"}
    assert {"Bean plants", "Time searched", "Helpers", "treatment"} | stages == measured


def test_what_was_looked_for_is_told_and_an_empty_box_is_no_absence(archive: ZipFile) -> None:
    days = {line["eventID"]: line["eventDate"] for line in lines(archive, "event")}
    found = {
        (days[line["eventID"]], line["eventID"].rpartition(":")[2]): line
        for line in lines(archive, "humboldt")
    }
    full = found["2026-05-20", "pinched"]
    assert full["targetTaxonomicScope"] == "Aphis fabae | Coccinellidae"
    assert full["targetLifeStageScope"] == "egg | larva"
    assert full["isTaxonomicScopeFullyReported"] == "true"
    assert full["isAbsenceReported"] == "true"
    assert full["absentTaxa"] == "Aphis fabae"
    assert (full["samplingEffortValue"], full["samplingEffortUnit"]) == ("10", "minutes")
    assert full["isLeastSpecificTargetCategoryQuantityInclusive"] == "true"
    # blackfly waits, egg clusters are empty, the total can't be read
    holes = found["2026-05-21", "pinched"]
    assert holes["targetTaxonomicScope"] == "Coccinellidae"
    assert holes["isTaxonomicScopeFullyReported"] == "false"
    assert holes["absentTaxa"] == ""
    assert holes["isLeastSpecificTargetCategoryQuantityInclusive"] == "false"
    untimed = found["2026-05-21", "unpinched"]
    assert untimed["isSamplingEffortReported"] == "false"
    assert untimed["samplingEffortValue"] == untimed["samplingEffortUnit"] == ""


def test_size_rank_kingdom_country_and_base_are_told_where_they_are_known(
    study: Study, tables: Tables, found: Facts
) -> None:
    with archive_of(study, tables) as archive:
        plain = lines(archive, "event")[1]
        assert plain["eventID"].startswith("bean-tips:")
        assert (plain["sampleSizeValue"], plain["sampleSizeUnit"]) == ("10", "minutes")
        assert plain["modified"] == "2026-06-01T12:00:00Z"
        assert b"countryCode" not in archive.read("meta.xml")
    said = replace(
        study.publication, country="IE", identifier_base="https://example.org/bean-tips/"
    )
    counts = [replace(c, taxon_rank="family", kingdom="Animalia") for c in study.counts]
    study = replace(study, publication=said, counts=tuple(counts))
    with archive_of(study, tables_of(study, found)) as archive:
        for name, key in (("event", "eventID"), ("occurrence", "occurrenceID"),
                          ("measurementorfact", "measurementID")):  # fmt: skip
            ids = [line[key] for line in lines(archive, name)]
            assert len(set(ids)) == len(ids)
            assert all(one.startswith("https://example.org/bean-tips/") for one in ids)
        one = lines(archive, "occurrence")[0]
        assert (one["taxonRank"], one["kingdom"]) == ("family", "Animalia")
        assert b'default="IE"' in archive.read("meta.xml")


def test_the_country_is_on_the_published_list(
    study: Study, tables: Tables, standards: Path
) -> None:
    study = replace(study, publication=replace(study.publication, country="IE"))
    with archive_of(study, tables) as archive:
        test_every_term_is_on_its_published_list(archive, standards)


def test_events_nest_and_bear_only_settled_visits(archive: ZipFile) -> None:
    found = lines(archive, "event")
    ids = {line["eventID"] for line in found}
    assert len(ids) == len(found) == 6
    assert all(line["parentEventID"] in ids for line in found if line["parentEventID"])
    assert {line["eventDate"] for line in found} == {"2026-05-20", "2026-05-21"}


@pytest.mark.parametrize(
    ("decimals", "expected"),
    [
        (None, ("", "", "", "")),
        (1, ("51.5", "0.0", "0.1", "7872")),
        (3, ("51.478", "-0.001", "0.001", "79")),
    ],
)
def test_places_are_only_as_exact_as_allowed(
    study: Study, decimals: int | None, expected: tuple[str, ...]
) -> None:
    study = replace(study, publication=replace(study.publication, place_decimals=decimals))
    found = facts(visit(study.sites[0].number, "2026-05-20", {"pinched.plants": 3}))
    with archive_of(study, tables_of(study, found)) as archive:
        line = lines(archive, "event")[0]
        everything = b"".join(archive.read(name) for name in archive.namelist())
    told = ("decimalLatitude", "decimalLongitude", "coordinatePrecision",
            "coordinateUncertaintyInMeters")  # fmt: skip
    assert tuple(line[name] for name in told) == expected
    assert b"51.47786" not in everything
    assert bool(line["geodeticDatum"]) == (decimals is not None)
