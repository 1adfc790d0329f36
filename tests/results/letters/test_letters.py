"""Letters: exactly what is open, once, to the right person, and nothing else in them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from email.message import EmailMessage
from pathlib import Path
from typing import Any, ClassVar

import made_season
import pytest
from counting import calls
from made_facts import fact, facts, visit

from sheet_reader.errors import UsageError
from sheet_reader.intake.mail import written
from sheet_reader.reading.incoming import as_answer
from sheet_reader.reasons import Code, because
from sheet_reader.record.people.remarks import AskedItem
from sheet_reader.results.contacts import addresses, names_in, place_names, told_without_people
from sheet_reader.results.facts import Facts, PhotoFact
from sheet_reader.results.letters.drafts import message_id, to_say
from sheet_reader.results.letters.open_items import ASKS, Item
from sheet_reader.results.letters.wording import template_texts, worded
from sheet_reader.results.status.standing import status_of
from sheet_reader.study.study import Site, Study
from sheet_reader.study.words import ENGLISH_LETTERS, shipped_texts

AFTER = date(2026, 6, 15)


@pytest.fixture(scope="module")
def study() -> Study:
    return made_season.a_study()


def said(study: Study, found: Facts, before: set[AskedItem] | None = None) -> dict[str, list[Item]]:
    return to_say(study, found, status_of(study, found, AFTER), before or set())


def test_letters_of_a_season_name_exactly_what_is_open(study: Study) -> None:
    truths = made_season.draw(study)
    found = said(study, made_season.as_facts(study, truths))
    told = {
        (i.site, i.visit_date, i.name) for items in found.values() for i in items if i.kind in ASKS
    }
    assert told == {
        (t.site, (t.expected.isoformat() if name == "missed:" else t.day), name)
        for t in truths
        for name in made_season.asked_of(t)
    }
    thanked = {
        (i.site, i.visit_date) for items in found.values() for i in items if i.kind == "thanks"
    }
    sites = {i.site for items in found.values() for i in items}
    came = {(t.site, t.day) for t in truths if t.kind not in ("missed", "late")}
    assert thanked == {place for place in came if place[0] in sites}
    address_of = addresses(study)
    assert all({address_of[i.site] for i in items} == {who} for who, items in found.items())


def test_a_second_run_says_nothing_and_a_later_one_only_what_is_new(study: Study) -> None:
    truths = made_season.draw(study)
    found = made_season.as_facts(study, truths)
    before = {
        AskedItem(i.site, i.visit_date, i.name)
        for items in said(study, found).values()
        for i in items
    }
    assert said(study, found, before) == {}
    changed = [replace(t, kind="unequal") if t.kind == "late" else t for t in truths]
    later = said(study, made_season.as_facts(study, changed), before)
    asked = {(i.site, i.visit_date) for items in later.values() for i in items if i.kind in ASKS}
    assert asked == {(t.site, t.day) for t in truths if t.kind == "late"}


def test_what_waits_for_review_is_not_asked(study: Study) -> None:
    truths = [
        made_season.Truth(site.number, week, "waits", 0)
        for site in study.sites
        for week in range(made_season.WEEKS)
    ]
    assert said(study, made_season.as_facts(study, truths)) == {}


def test_one_letter_for_all_sites_of_a_person(study: Study) -> None:
    first, second, *rest = study.sites
    study = replace(study, sites=(first, replace(second, contact=first.contact.upper()), *rest))
    found = said(study, facts())
    assert len(found) == made_season.SITES - 1
    assert {i.site for i in found["garden0@example.org"]} == {first.number, second.number}


@pytest.mark.parametrize(
    ("contact", "address"),
    [
        ("Pat Doe, pat@example.org", "pat@example.org"),
        ("Pat Doe <pat@example.org>", "pat@example.org"),
        ("pat@example.org", "pat@example.org"),
        ("Pat Doe, by telephone", None),
        ("a@b@c, or (pat@example.org)", "pat@example.org"),
        ("Zoë <zoë@example.org>", None),
        ("", None),
    ],
)
def test_addresses_are_found_in_contacts(study: Study, contact: str, address: str | None) -> None:
    one = replace(study, sites=(replace(study.sites[0], contact=contact),))
    assert addresses(one).get(study.sites[0].number) == address


def test_a_photo_that_gave_nothing_goes_to_who_sent_it(study: Study) -> None:
    why = (because(Code.BLURRED),)
    photo = PhotoFact(4, "photo-0004", "no sheet", why, ("Pat <GARDEN3@example.org>",))
    other = PhotoFact(5, "photo-0005", "no sheet", why, ("who@example.org",))
    found = said(study, Facts((), (photo, other)))
    photos = [(who, i.photo_id) for who, items in found.items() for i in items if i.kind == "photo"]
    assert photos == [("garden3@example.org", 4)]


def letter(study: Study, items: list[Item], words: dict[str, str] | None = None) -> tuple[str, str]:
    text = worded(study, words or dict(ENGLISH_LETTERS), template_texts(study.folder), items, [])
    return text.text, text.html


def test_the_letter_in_words(study: Study) -> None:
    site = study.sites[0].number
    values: dict[str, Any] = {
        f"{plot.name}.{count.name}": 3 for plot in study.plots for count in study.counts
    }
    values |= {"pinched.ladybirds": 9, "unpinched.ladybirds": 10, "unpinched.blackfly": "empty",
               "pinched.plants": "empty"}  # fmt: skip
    one = visit(site, "2026-04-21", values, advice=("Hold the camera level.",))
    items = said(study, facts(one))["garden0@example.org"]
    text, html = letter(study, items)
    lines = text.splitlines()
    assert lines[0] == "Hello,"
    assert "thank you for your counts from Garden 0 on 21 April. They have arrived." in text
    assert (
        "\n\n1. Garden 0, 21 April: “Pinched half: Bean plants” is empty. Do you still know the "
        "number?\n\n2. Garden 0, 21 April: “Other half: Blackfly colonies” is empty. Was it 0, or "
        "was it not counted?\n\n3. " in text
    )
    assert "stands 10, but its parts add up to 9. Which number is right?" in text
    assert (
        "No sheet has come from Garden 0 for 27 April, 4 May, 11 May, 18 May and 25 May." in text
    )
    assert "- Hold the camera level." in text
    assert "\n\n\n" not in text
    assert lines[-1] == "Bean tips"
    for sentence in ("Was it 0, or was it not counted?", "Hold the camera level."):
        assert sentence in html


def test_texts_are_escaped_in_html_only(study: Study) -> None:
    site = replace(study.sites[0], label="<b>Tom & Co</b>")
    study = replace(study, sites=(site,))
    text, html = letter(study, said(study, facts())["garden0@example.org"])
    assert "<b>Tom & Co</b>" in text
    assert "<b>Tom" not in html
    assert "&lt;b&gt;Tom &amp; Co" in html


def test_any_language(study: Study) -> None:
    words = dict(shipped_texts("letters", "de")) | {"greeting": "Hallo,"}
    text, html = letter(study, said(study, facts())["garden0@example.org"], words)
    assert text.startswith("Hallo,")
    assert "20. April" in text
    assert '<html lang="de">' in html


@pytest.mark.parametrize(
    ("template", "message"),
    [
        ("{{ greting }}", "'greting' is undefined"),
        ("{% for x in %}", "line 1"),
        ("{{ ''.__class__.__mro__ }}", "unsafe"),
        ("{{ questions.append(1) }}", "unsafe"),
        ("{{ 1 / 0 }}", "division by zero"),
        ("{% for n in range(100000000) %}n{% endfor %}", "Range too big"),
    ],
)
def test_templates_reach_nothing_and_say_what_is_wrong(
    study: Study, tmp_path: Path, template: str, message: str
) -> None:
    (tmp_path / "letter_templates").mkdir()
    (tmp_path / "letter_templates" / "letter.txt").write_text(template, encoding="utf-8")
    study = replace(study, folder=tmp_path)
    with pytest.raises(UsageError, match=r"letter_templates/letter\.txt") as caught:
        letter(study, said(study, facts())["garden0@example.org"])
    assert message in str(caught.value)


MARK = "0123456789abcdef" * 2


def answer(body: str, reply_to: str = message_id(MARK), kind: str = "plain") -> bytes:
    mail = EmailMessage()
    mail["From"] = "Pat 3 <garden3@example.org>"
    mail["In-Reply-To"] = reply_to
    mail["Subject"] = "Re: Bean tips"
    mail.set_content(body, subtype=kind)
    return mail.as_bytes()


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("It was 0.\n\nPat\n", "It was 0. Pat"),
        ("It was 0.\n\nOn 3 June 2026, Bean tips wrote:\n> Hello,\n> 1. Garden\n", "It was 0."),
        ("It was 0.\n-- \nPat, 0123 456789\n", "It was 0."),
        ("> all quoted\n", ""),
    ],
)
def test_of_an_answer_only_what_is_new_is_kept(body: str, said: str) -> None:
    assert written(body) == said
    found = as_answer(answer(body))
    assert (found is None) == (said == "")
    if found is not None:
        assert found[0] == (MARK,)
        assert found[1].text == said


def test_a_mail_that_answers_no_letter_is_no_answer() -> None:
    assert as_answer(answer("It was 0.", "<other@example.org>")) is None
    assert as_answer(b"\xff\xfe") is None


def test_remarks_leave_without_people() -> None:
    told = told_without_people(
        "Pat: it was 0 on 2026-05-20,\nwrite pat@example.org or call 0123 456789",
        names_in(["Pat Doe, x@y"]),
    )
    assert told == "…: it was 0 on 2026-05-20, write … or call …"


def test_work_grows_with_the_sites_and_no_faster() -> None:
    work = []
    for sites in (20, 40):
        larger = made_season.a_study(sites)
        found = made_season.as_facts(larger, made_season.draw(larger))
        status = status_of(larger, found, AFTER)
        work.append(calls(lambda s=larger, f=found, t=status: to_say(s, f, t, set())))  # type: ignore[misc]
    assert work[1] <= 2.2 * work[0]


def test_what_a_person_could_not_read_is_asked(study: Study) -> None:
    one = fact("pinched.plants", None, "unreadable", decided=True)
    found = said(study, facts(visit(study.sites[0].number, "2026-04-20", {"pinched.plants": one})))
    names = {i.name for i in found["garden0@example.org"]}
    assert "unreadable:pinched.plants" in names


def test_another_photo_is_asked_for_once_and_not_field_by_field(study: Study) -> None:
    outside = {
        name: fact(name, None, "unreadable", decided=True, photo_asked=True)
        for name in ("pinched.plants", "pinched.blackfly")
    }
    number = study.sites[0].number
    found = said(study, facts(visit(number, "2026-04-20", outside)))
    items = [i for i in found["garden0@example.org"] if i.visit_date == "2026-04-20"]
    asked = [i for i in items if i.kind in ASKS]
    assert [(i.name, i.words) for i in asked] == [("page:cut off 1", "page_cut_off")]
    text = worded(study, dict(study.letter_words), template_texts(study.folder), asked, []).text
    assert "a part of page 1 is not in the photo" in " ".join(text.split())
    status = status_of(study, facts(visit(number, "2026-04-20", outside)), AFTER)
    first = next(s for s in status.sites if s.site == number).expected[0]
    assert first.state == "incomplete"
    assert "another photo of page 1 is asked for" in first.why


class Listed(tuple[Site, ...]):
    """A site list that counts how many sites were looked at one by one."""

    looked: ClassVar[int] = 0

    def __iter__(self) -> Iterator[Site]:
        for site in super().__iter__():
            Listed.looked += 1
            yield site


def test_the_site_list_is_not_gone_through_for_each_letter_or_place() -> None:
    larger = made_season.a_study(400)
    larger = replace(larger, sites=Listed(larger.sites))
    words, templates = dict(larger.letter_words), template_texts(larger.folder)
    Listed.looked = 0
    for number in [site.number for site in larger.sites]:
        worded(larger, words, templates, [Item("missed", number, "2026-05-20")], [])
        assert larger.site(number) is not None
    assert set(addresses(larger)) == set(place_names(larger))
    assert Listed.looked <= 4 * 400


def test_names_of_contacts_are_found_once_for_all_places() -> None:
    larger = [made_season.a_study(sites) for sites in (200, 400)]
    few, many = (calls(lambda study=study: place_names(study)) for study in larger)  # type: ignore[misc]
    assert many <= 2.2 * few
