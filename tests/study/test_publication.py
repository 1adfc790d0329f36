"""Licence, places, effort, taxa; and what updates compare."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from sheet_reader.errors import StudyError
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Effort, Publication, UpdatePlan
from sheet_reader.study.words import ENGLISH_LETTERS, ENGLISH_UPDATE

Write = Callable[..., Path]


def mistakes(folder: Path) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read_study(folder)
    return [str(mistake) for mistake in caught.value.mistakes]


def test_a_study_that_says_nothing_tells_no_place(write: Write) -> None:
    study = read_study(write())
    assert study.publication == Publication()
    assert study.publication.place_decimals is None
    assert not study.publication.place_names
    assert study.effort is None
    assert dict(study.letter_words) == ENGLISH_LETTERS
    assert study.visits.least == 4


def test_all_keys(write: Write) -> None:
    more = (
        '[publication]\nlicence = "CC0-1.0"\ncitation = "Snails (2026)"\npublisher = "Snail club"\n'
        'description = "Snails on walls."\nplace_names = true\nplace_decimals = 2\n'
        '[effort]\nfield = "north.large"\n[visits]\nleast = 5\n'
        '[words.letters]\ngreeting = "Hallo"\n'
    ).replace('"north.large"', '"large"\nunit = "minutes"\nequal = false')
    changes = ('name = "small"', 'name = "small"\ntaxon = "Cepaea hortensis"\nlife_stage = "adult"')
    study = read_study(write(changes, more=more))
    assert study.publication == Publication(
        "CC0-1.0", "Snails (2026)", "Snails on walls.", "Snail club", True, 2
    )
    assert study.effort == Effort("large", "minutes", "", False)
    assert study.visits.least == 5
    assert dict(study.letter_words) == {**ENGLISH_LETTERS, "greeting": "Hallo"}
    assert [c.taxon for c in study.counts] == ["", "Cepaea hortensis", ""]
    assert study.counts[1].life_stage == "adult"


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ('[publication]\nlicence = "CC-BY"\n', "publication.licence: “CC-BY” must be one of"),
        ('[publication]\nlicense = "CC0-1.0"\n', "publication.license: unknown key – did you mea"),
        ("[publication]\nplace_decimals = 9\n", "publication.place_decimals: must lie from 0 to"),
        ('[publication]\nplace_names = "yes"\n', "publication.place_names: must be true or false"),
        ('[publication]\ncountry = "de"\n', "publication.country: “de” must be two capital"),
        ('[publication]\nidentifier_base = "snails"\n', "publication.identifier_base: “snails” m"),
        ('[effort]\nfield = "hours"\nunit = "h"\n', "effort.field: “hours” is no count or number"),
        ('[effort]\nfield = "large"\n', "effort.unit: is missing, and large has none: say what"),
        ("[effort]\nunit = 'h'\n", "effort.field: is missing"),
        ("[visits]\nleast = 0\n", "visits.least: must lie from 1 to 366, not 0"),
        ("[words.letters]\ngreeting = 3\n", "words.letters.greeting: must be text in quotes"),
        ("[words]\nletter = 'x'\n", "words.letter: unknown key – did you mean “letters”?"),
    ],
)
def test_each_mistake(write: Write, more: str, expected: str) -> None:
    found = mistakes(write(more=more))
    assert any(line.startswith(expected) for line in found), found


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ('taxon = "cepaea"', "taxon: “cepaea” must begin with a capital letter"),
        ('taxon = "Cepaea <b>"', "taxon: “Cepaea <b>” must be a scientific name"),
        ('life_stage = "egg"', "life_stage: needs a taxon: the stage of what?"),
        ('taxon = "Cepaea"\ntaxon_rank = "gender"', "taxon_rank: “gender” must be one of"),
        ('kingdom = "Animalia"', "kingdom: needs a taxon"),
    ],
)
def test_each_mistake_of_a_count(write: Write, key: str, expected: str) -> None:
    found = mistakes(write(('name = "large"', f'name = "large"\n{key}')))
    assert any(line.startswith(f"the first count, “Large snails”, {expected}") for line in found)


HEAD = "number,label,contact,latitude,longitude\n"


def test_places_of_the_site_list(write: Write) -> None:
    study = read_study(write(sites=HEAD + "5724,Old wall,w,51.4778,-0.0015\n"))
    assert (study.sites[0].latitude, study.sites[0].longitude) == (51.4778, -0.0015)
    study = read_study(write(sites=HEAD + "5724,Old wall,w,,\n"))
    assert study.sites[0].latitude is None


@pytest.mark.parametrize(
    ("sites", "expected"),
    [
        (HEAD + "5724,Wall,w,95.0,1.0\n", "sites.csv line 2 latitude: “95.0” is no latitude"),
        (HEAD + "5724,Wall,w,5.0,east\n", "sites.csv line 2 longitude: “east” is no longitude"),
        (HEAD + "5724,Wall,w,٥.0,1.0\n", "sites.csv line 2 latitude: “٥.0” is no latitude"),
        (HEAD + "5724,Wall,w,5.0,\n", "sites.csv line 2: has a latitude only; latitude and"),
        ("number,label,contact,latitude\n", "sites.csv line 1: latitude and longitude go"),
    ],
)
def test_each_mistake_of_a_place(write: Write, sites: str, expected: str) -> None:
    found = mistakes(write(sites=sites))
    assert any(line.startswith(expected) for line in found), found


@pytest.mark.parametrize(
    ("base", "fits"),
    [
        ("https://example.org/snails/", True),
        ("https://example.org/snails#", True),
        ("https://example.org/", True),
        ("http://example.org:8080/get?visit=", True),
        ("urn:example:", True),
        ("urn:example:snails:", True),
        ("https://example.org", False),
        ("https://example.org/snails", False),
        ("https://pat@example.org/snails/", False),
        ("https://example.org/two words/", False),
        ("ftp://example.org/snails/", False),
        ("urn:example", False),
        ("urn:e:", False),
    ],
)
def test_names_can_be_added_to_the_base_of_identifiers(
    write: Write, base: str, fits: bool
) -> None:
    more = f'[publication]\nidentifier_base = "{base}"\n'
    if fits:
        assert read_study(write(more=more)).publication.identifier_base == base
    else:
        assert len(mistakes(write(more=more))) == 1


PLOTS = 'treated = "north"\ncontrol = "south"\n'


def test_a_plan_and_its_words(write: Write) -> None:
    more = f'[update]\ncount = "small"\n{PLOTS}planned = 4\n[words.update]\nyes = "si"\n'
    study = read_study(write(more=more))
    assert study.update == UpdatePlan("small", "north", "south", 4)
    assert dict(study.update_words) == {**ENGLISH_UPDATE, "yes": "si"}
    assert read_study(write()).update == UpdatePlan()


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ('[update]\ncount = "smal"', "update.count: “smal” is no count of this study – did you"),
        ('[update]\ntreated = "nort"\ncontrol = "south"', "update.treated: “nort” is no plot of"),
        ('[update]\ntreated = "north"', "update.control: is missing: a comparison needs two"),
        ('[update]\ntreated = "north"\ncontrol = "north"', "update.control: “north” can't be"),
        ("[update]\nplanned = 0", "update.planned: "),
        ('[update]\nplots = "x"', "update.plots: unknown key"),
        ('[words.update]\nyess = "x"', "words.update.yess: unknown key – did you mean “yes”?"),
        ("[words.update]\nper = 3", "words.update.per: must be text in quotes, not 3"),
        ('[words.update]\nn_sites = "{sites}"', "words.update.n_sites: {sites} is not known here"),
        ('[words.update]\nn_sites = "{n"', "words.update.n_sites: has a brace without"),
        ('[words.update]\nmonths = "Jan"', "words.update.months: must be the names of twelve"),
    ],
)
def test_what_does_not_fit_is_told(write: Write, lines: str, expected: str) -> None:
    with pytest.raises(StudyError) as caught:
        read_study(write(more=lines + "\n"))
    found = [str(mistake) for mistake in caught.value.mistakes]
    assert any(mistake.startswith(expected) for mistake in found), found
