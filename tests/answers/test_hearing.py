"""What is said of a card is settled, asked once more, or refused, whatever the front end."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from made_rows import waiting

from sheet_reader.answers.hearing import (
    NO_ANSWER,
    UNSEEN,
    AskedAgain,
    AskedHow,
    Heard,
    PersonSaid,
    Settled,
    hear,
    sites_named,
)
from sheet_reader.answers.questions import (
    AlikeCard,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SheetInPhoto,
    Stated,
    SumCard,
)
from sheet_reader.reasons import Code, because
from sheet_reader.record.history.answers import (
    Accept,
    Illegible,
    LeftEmpty,
    PhotoAsked,
    SheetAnswer,
    Value,
)
from sheet_reader.study.kinds import Refusal
from sheet_reader.study.study import Study

PLANTS, DAY = "pinched.plants", "2026-05-20"
SUM = ("pinched.ladybirds", "pinched.egg_clusters", "pinched.small_larvae", "pinched.large_larvae")


@pytest.fixture
def how(bean_study: Study) -> AskedHow:
    return AskedHow(bean_study, date(2026, 6, 1))


def card(study: Study, name: str, value: str | None = "14", **changes: Any) -> FieldCard:
    spec = study.spec(name)
    number = [s.name for s in study.fields].index(name) + 1
    usual = {"reading_id": number, "field": name, "value": value}
    return FieldCard(waiting(**(usual | changes)), spec)


def stated(study: Study, name: str, value: str, **changes: Any) -> Stated:
    asked = card(study, name, value, **changes)
    return Stated(asked.reading, asked.spec, value, "accepted", sure=True)


def value(text: str, **more: Any) -> PersonSaid:
    return PersonSaid("value", text, **more)


def kept(heard: Heard) -> list[Any]:
    assert isinstance(heard, Settled), heard
    return [one if isinstance(one, SheetAnswer) else one.answer for one in heard.reply.decisions]


def test_a_field_is_answered_by_what_it_says(how: AskedHow) -> None:
    asked = card(how.study, PLANTS)
    for said, answer in (
        (PersonSaid("take"), Accept()), (PersonSaid("nothing"), LeftEmpty()),
        (PersonSaid("unreadable"), Illegible()), (value("014"), Accept()), (value("9"), Value("9")),
    ):  # fmt: skip
        assert kept(hear(asked, said, how)) == [answer]
    assert isinstance(hear(asked, value("many"), how), Refusal)
    for act in ("sum", "same", "unlisted", ""):
        assert hear(asked, PersonSaid(act), how) == NO_ANSWER
    assert hear(asked, PersonSaid("take"), replace(how, seen=False)) == UNSEEN


def test_what_is_unusual_is_kept_by_whoever_is_sure(how: AskedHow) -> None:
    asked = card(how.study, PLANTS)
    heard = hear(asked, value("77"), how)
    assert isinstance(heard, AskedAgain)
    assert heard.why == "77 is more than the highest plausible value 60"
    assert kept(hear(asked, value("77", sure=True), how)) == [Value("77")]


def test_blind_the_reading_is_told_and_weighed_once_something_is_typed(how: AskedHow) -> None:
    asked = card(how.study, PLANTS, runner_up="19", confidence=0.8)
    blind = replace(how, blind=True)
    heard = hear(asked, value("15"), blind)
    assert heard == AskedAgain("15", "the reader saw 14 (80 %), you typed 15")
    assert isinstance(hear(asked, PersonSaid("take"), blind), Refusal)
    same = hear(asked, value("14"), blind)
    assert (kept(same), same.note) == ([Accept()], "the reader saw 14, too")
    second = hear(asked, value("19"), blind)
    assert kept(second) == [Value("19")]
    assert "which is kept as typed" in second.note
    audit = hear(asked, value("15"), replace(blind, audit=True))
    assert kept(audit) == [Value("15")]
    assert audit.reply.fields[0].blind
    assert "your answer 15 is kept" in audit.note
    changed = hear(asked, value("14"), replace(how, audit=True, before=audit.reply))
    assert kept(changed) == [Accept()]
    assert not changed.reply.fields[0].blind, "the reading was seen meanwhile"


def test_what_two_see_settles_a_number_and_no_date(how: AskedHow) -> None:
    blind = replace(how, blind=True)
    many = hear(card(how.study, PLANTS, "77"), value("77"), blind)
    assert (kept(many), many.note) == ([Accept()], "the reader saw 77, too")
    late = hear(card(how.study, "visit_date", "2026-10-20"), value("20 10 26"), blind)
    assert isinstance(late, AskedAgain)
    assert "outside the season" in late.why


def test_the_second_guess_is_no_slip_but_may_be_unusual_or_another_site(how: AskedHow) -> None:
    blind, (first, second, *_) = replace(how, blind=True), how.study.sites
    unusual = hear(card(how.study, PLANTS, runner_up="77"), value("77"), blind)
    assert isinstance(unusual, AskedAgain)
    assert unusual.why == "77 is more than the highest plausible value 60"
    site = card(how.study, "site", first.number, runner_up=second.number)
    other = hear(site, value(second.number), blind)
    assert isinstance(other, AskedAgain)
    assert other.why.endswith(f"you typed {second.number}")
    nothing = hear(card(how.study, PLANTS, None), value("15"), blind)
    assert nothing == AskedAgain("15", "the reader saw nothing, you typed 15")


def test_after_going_back_the_reading_is_told_and_weighed_again(how: AskedHow) -> None:
    asked = card(how.study, PLANTS, confidence=0.8)
    before = hear(asked, value("15", sure=True), how).reply
    assert replace(how, blind=True).hidden
    back = replace(how, before=before, blind=True)
    assert hear(asked, value("16"), back) == AskedAgain(
        "16", "the reader saw 14 (80 %), you typed 16"
    )
    assert kept(hear(asked, value("16", sure=True), back)) == [Value("16")]
    assert kept(hear(asked, value("16"), replace(how, before=before))) == [Value("16")]
    day = card(how.study, "visit_date", DAY, confidence=0.8)
    assert not back.hidden
    late = replace(back, today=date(2026, 5, 1))
    assert hear(day, value("24.5.26"), late).why == (
        "24 May 2026 lies in the future; the reader saw 2026-05-20 (80 %), you typed 2026-05-24"
    )


def test_nothing_read_and_two_people_who_differ_have_nothing_to_take(how: AskedHow) -> None:
    empty, typed = card(how.study, PLANTS, None), card(how.study, PLANTS)
    assert "nothing was read" in hear(empty, PersonSaid("take"), how).message
    gone = card(how.study, "site", "9999")
    assert "not on the site list" in hear(gone, PersonSaid("take"), how).message
    differing = replace(typed, typed=(("Ada", "14"), ("Kim", "15")))
    assert "type which is right" in hear(differing, PersonSaid("take"), how).message
    assert kept(hear(replace(typed, second=True), value("77"), how)) == [Value("77")]


def test_an_answer_given_before_is_taken_again_as_it_was(how: AskedHow) -> None:
    asked = card(how.study, PLANTS)
    before = hear(asked, value("9"), how).reply
    assert hear(asked, PersonSaid("take"), replace(how, before=before, seen=False)).reply is before


def test_a_site_is_typed_found_by_name_or_not_listed(how: AskedHow) -> None:
    site, asked = how.study.sites[0], card(how.study, "site", None)
    assert kept(hear(asked, value(site.number), how)) == [Value(site.number)]
    assert hear(asked, value(site.label), how) == AskedAgain(
        site.number, f"{site.number} is {site.label}"
    )
    unknown = hear(asked, value("9999"), how)
    assert "not on the site list" in unknown.message
    (aside,) = kept(hear(asked, PersonSaid("unlisted"), how))
    assert aside.kind == "aside"
    assert hear(asked, PersonSaid("unlisted"), replace(how, audit=True)) == NO_ANSWER
    assert sites_named("", how.study.sites * 2) == (how.study.sites * 2)[:6]
    assert sites_named(f"{site.label}h", how.study.sites)[0] == site, "most alike"
    several = hear(asked, value("mill"), how)
    assert several.message == "sites named like “mill”:"
    assert [each.label for each in several.near] == ["Millrace allotments", "Windmill lane"]


@pytest.mark.parametrize("number", ["²", "9" * 5000, "4", "-1", ""])
def test_a_number_that_is_none_names_no_field(how: AskedHow, number: str) -> None:
    fields = tuple(stated(how.study, n, v) for n, v in zip(SUM, ("12", "3", "4", "5"), strict=True))
    heard = hear(AlikeCard(fields), PersonSaid("sum", fields={number: "3"}), how)
    assert heard == Refusal("that is no field of this question")


def test_several_fields_stand_or_say_something_else(how: AskedHow) -> None:
    fields = tuple(stated(how.study, n, v) for n, v in zip(SUM, ("14", "3", "4", "5"), strict=True))
    reason = because(Code.SUM_OFF, total=14, parts=12, fields=SUM)
    for asked in (SumCard(fields, reason), AlikeCard(fields)):
        assert kept(hear(asked, PersonSaid("take"), how)) == 4 * [Accept()]
        changed = hear(asked, PersonSaid("sum", fields={"1": "5"}), how)
        assert kept(changed) == [Accept(), Value("5"), Accept(), Accept()]
        for wrong in ({"9": "1"}, {"4": "1"}, {"one": "1"}, {"1": "many"}):
            assert isinstance(hear(asked, PersonSaid("sum", fields=wrong), how), Refusal)
        assert hear(asked, value("5"), how) == NO_ANSWER
    off = hear(SumCard(fields, reason), PersonSaid("sum", fields={"1": "4"}), how)
    assert off == AskedAgain("it so", "the total would be 14, the parts add to 13")
    meant = hear(SumCard(fields, reason), PersonSaid("sum", fields={"1": "4"}, sure=True), how)
    assert kept(meant) == [Accept(), Value("4"), Accept(), Accept()]
    unusual = hear(AlikeCard(fields), PersonSaid("sum", fields={"1": "999"}), how)
    assert isinstance(unusual, AskedAgain)
    assert "999 is more than the highest plausible value" in unusual.why
    sure = PersonSaid("sum", fields={"1": "4", "2": "x", "3": "n"}, sure=True)
    assert kept(hear(AlikeCard(fields), sure, how)) == [
        Accept(), Value("4"), Illegible(), LeftEmpty(),
    ]  # fmt: skip


def test_what_lies_outside_is_asked_for_again_or_left(how: AskedHow) -> None:
    asked = OutsideCard((card(how.study, PLANTS, None),))
    for act, told in (("take", (PhotoAsked(),)), ("another", (PhotoAsked(),)), ("unreadable", ())):
        heard = hear(asked, PersonSaid(act), replace(how, seen=False))
        assert kept(heard) == [Illegible()]
        assert heard.reply.fields[0].told == told
    assert isinstance(hear(asked, value("7"), how), Refusal)


def photos(study: Study, **more: Any) -> PhotosCard:
    sheets = []
    for page, plants in ((1, "14"), (2, "17")):
        common = {"page_instance_id": page, "photo_id": page, "visit_date": DAY}
        day = stated(study, "visit_date", DAY, **common | {"reading_id": 10 + page})
        fields = (stated(study, PLANTS, plants, **common | {"reading_id": 20 + page}),)
        sheets.append(SheetInPhoto(fields[0].reading, None, day, fields))
    return PhotosCard(tuple(sheets), **more)


def test_photos_show_one_sheet_or_one_has_another_place(how: AskedHow) -> None:
    asked = photos(how.study)
    assert [f.reading_id for f in hear(asked, PersonSaid("take"), how).reply.fields] == [11, 21]
    same = hear(asked, PersonSaid("same", sheet=1), how)
    assert [f.reading_id for f in same.reply.fields] == [12, 22]
    for nowhere in (2, -1):
        assert isinstance(hear(asked, PersonSaid("same", sheet=nowhere), how), Refusal)
    assert hear(asked, PersonSaid("same"), replace(how, seen=False)) == UNSEEN
    unlike = photos(how.study, unlike=True)
    assert "too much" in hear(unlike, PersonSaid("take"), how).message
    assert [f.reading_id for f in hear(unlike, PersonSaid("same"), how).reply.fields] == [11, 21]
    assert kept(hear(asked, PersonSaid("date", "27", sheet=1), how)) == [Value("2026-05-27")]
    assert "what it has now" in hear(asked, PersonSaid("date", "20"), how).message
    future = hear(asked, PersonSaid("date", "20 08"), how)
    assert isinstance(future, AskedAgain)
    assert kept(hear(asked, PersonSaid("date", "20 08", sure=True), how)) == [Value("2026-08-20")]
    number = how.study.sites[3].number
    (moved,) = kept(hear(asked, PersonSaid("site", number), how))
    assert (moved.kind, moved.value, moved.page_instance_id) == ("site", number, 1)
    assert kept(hear(asked, PersonSaid("aside", sheet=1), how))[0].page_instance_id == 2


def test_of_any_card_its_whole_sheet_can_be_put_right_but_in_an_audit(how: AskedHow) -> None:
    asked, sheet = card(how.study, PLANTS), photos(how.study).sheets[0]
    whole = replace(how, sheet=sheet)
    assert kept(hear(asked, PersonSaid("date", "27"), whole)) == [Value("2026-05-27")]
    heard = hear(asked, PersonSaid("aside", " a trial "), how)
    assert (kept(heard)[0].kind, heard.reply.reason) == ("aside", "a trial")
    assert "not in the record" in hear(asked, PersonSaid("site", "1"), how).message
    audit = replace(whole, audit=True)
    assert "single fields" in hear(asked, PersonSaid("aside"), audit).message
