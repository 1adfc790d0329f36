"""The conversation of a review."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from thorough import examples

from sheet_reader.answers.questions import AlikeCard, OutsideCard, PhotosCard, SheetInPhoto, SumCard
from sheet_reader.reasons import Code, Reason, because, in_words
from sheet_reader.record.history.answers import (
    Accept,
    Illegible,
    LeftEmpty,
    PhotoAsked,
    SameSheet,
    SumTold,
    Value,
)
from sheet_reader.record.history.deciding import checked_value
from sheet_reader.record.history.states import Rival

PLANTS = "pinched.plants"
BLACKFLY = "pinched.blackfly"
TOTAL = "pinched.ladybirds"


def test_enter_takes_what_was_read(sitting: Any) -> None:
    outcome, source = sitting.run([sitting.question(PLANTS)], [""])
    assert source.kept == [(PLANTS, Accept(), False)]
    assert (outcome.answered, outcome.confirmed, outcome.waiting) == (1, 1, 0)


def test_digits_replace_it(sitting: Any) -> None:
    outcome, source = sitting.run([sitting.question(PLANTS)], ["19"])
    assert source.kept == [(PLANTS, Value("19"), False)]
    assert outcome.corrected == 1


def test_typing_what_was_read_confirms_it(sitting: Any) -> None:
    _, source = sitting.run([sitting.question(PLANTS)], ["014"])
    assert source.kept == [(PLANTS, Accept(), False)]


def test_nothing_written_and_unreadable(sitting: Any) -> None:
    questions = [sitting.question(PLANTS), sitting.question(BLACKFLY)]
    _, source = sitting.run(questions, ["n", "X"])
    assert source.kept == [(PLANTS, LeftEmpty(), False), (BLACKFLY, Illegible(), False)]


def test_the_screen_shows_place_reading_reason_and_keys(sitting: Any) -> None:
    sitting.run([sitting.question(PLANTS), sitting.question(BLACKFLY)], ["", "s"])
    for part in (
        "1 of 2",
        "2 of 2",
        "Pinched half: Bean plants",
        PLANTS,
        "site not settled",
        "visit 2026-05-20",
        "sheet BLANK, page 1",
        "photo IMG_1.jpg",
        "14 (80 %), or else 19 (15 %)",
        "not sure enough of 14",
        "Enter keep 14",
        "n nothing written",
        "x can't be read",
        "b back",
        "w whole photo",
        "s stop",
    ):
        assert part in sitting.screen
    assert max(len(line) for line in sitting.screen.splitlines()) <= 80


def test_stop_leaves_the_rest_waiting(sitting: Any) -> None:
    questions = [sitting.question(PLANTS), sitting.question(BLACKFLY)]
    outcome, source = sitting.run(questions, ["", "s"])
    assert len(source.kept) == 1
    assert outcome.waiting == 1


def test_the_end_of_input_is_a_stop(sitting: Any) -> None:
    outcome, source = sitting.run([sitting.question(PLANTS)], [])
    assert source.kept == []
    assert outcome.waiting == 1


def test_back_asks_again_and_keeps_the_later_answer(sitting: Any) -> None:
    questions = [sitting.question(PLANTS), sitting.question(BLACKFLY)]
    outcome, source = sitting.run(questions, ["19", "b", "15", ""])
    assert [answer for _, answer, _ in source.kept] == [Value("19"), Value("15"), Accept()]
    assert "Answered before: 19" in sitting.screen
    assert (outcome.answered, outcome.corrected, outcome.confirmed) == (2, 1, 1)


def test_enter_after_back_keeps_the_answer_given(sitting: Any) -> None:
    questions = [sitting.question(PLANTS), sitting.question(BLACKFLY)]
    _, source = sitting.run(questions, ["19", "b", "", "s"])
    assert [answer for _, answer, _ in source.kept] == [Value("19")]


def test_back_at_the_first_question_stays_there(sitting: Any) -> None:
    _, source = sitting.run([sitting.question(PLANTS)], ["b", ""])
    assert "This is the first question." in sitting.screen
    assert len(source.kept) == 1


def test_a_value_out_of_range_is_asked_once_more(sitting: Any) -> None:
    _, source = sitting.run([sitting.question(PLANTS)], ["77", ""])
    assert "77 is more than the highest plausible value 60" in sitting.screen
    assert source.kept == [(PLANTS, Value("77"), False)]


def test_a_value_out_of_range_can_be_put_right(sitting: Any) -> None:
    _, source = sitting.run([sitting.question(PLANTS)], ["77", "17"])
    assert source.kept == [(PLANTS, Value("17"), False)]


@pytest.mark.parametrize("typed", ["1o", "-3", "1.5", "=1+1", "yes", "٣"])
def test_what_is_no_number_is_refused_and_asked_again(typed: str, sitting: Any) -> None:
    _, source = sitting.run([sitting.question(PLANTS)], [typed, "3"])
    assert source.kept == [(PLANTS, Value("3"), False)]
    assert "Type the number in digits" in sitting.screen


def test_nothing_read_has_nothing_to_accept(sitting: Any) -> None:
    question = sitting.question(PLANTS, value=None, confidence=0.0, runner_up=None)
    _, source = sitting.run([question], ["", "7"])
    assert "Nothing was read here" in sitting.screen
    assert source.kept == [(PLANTS, Value("7"), False)]


def test_the_whole_photo_opens_and_stays_where_the_screen_says(sitting: Any) -> None:
    sitting.run([sitting.question(PLANTS)], ["w", ""])
    assert [path.name for path in sitting.launched] == ["1.png"]
    assert sitting.launched[0].read_bytes() == b"picture"
    assert str(sitting.launched[0]) in sitting.screen.replace("\n", "")


@pytest.mark.parametrize("field", ["site", "visit_date", TOTAL])
def test_fields_that_count_most_are_typed_without_seeing_the_reading(
    field: str, sitting: Any
) -> None:
    question = sitting.question(
        field, value="987", reasons=in_words("987 is not sure"), runner_up="981"
    )
    sitting.run([question], ["", "s"])
    assert "987" not in sitting.screen
    assert "981" not in sitting.screen
    assert "Enter" not in sitting.screen.split("Type what you see")[1].split("> ")[0]


def test_hardly_better_than_a_coin_is_typed_blind(sitting: Any) -> None:
    sitting.run([sitting.question(PLANTS, confidence=0.51)], [])
    assert "14" not in sitting.screen


def test_blind_agreement_confirms(sitting: Any) -> None:
    _, source = sitting.run([sitting.question(TOTAL)], ["14"])
    assert source.kept == [(TOTAL, Accept(), False)]


def test_blind_disagreement_is_shown_and_asked_once_more(sitting: Any) -> None:
    _, source = sitting.run([sitting.question(TOTAL)], ["18", ""])
    assert "The reader saw 14 (80 %), you typed 18" in sitting.screen
    assert source.kept == [(TOTAL, Value("18"), False)]


def test_blind_slip_of_the_finger_is_put_right(sitting: Any) -> None:
    _, source = sitting.run([sitting.question(TOTAL)], ["41", "14"])
    assert source.kept == [(TOTAL, Accept(), False)]


def test_a_site_off_the_list_is_refused_and_the_nearest_are_offered(
    sitting: Any, bean_study: Any
) -> None:
    number = bean_study.sites[0].number
    wrong = number[:-1] + str((int(number[-1]) + 1) % 10)
    _, source = sitting.run([sitting.question("site", value=None)], [wrong, number])
    assert f"Site {wrong} is not on the site list" in sitting.screen
    assert f"{number}  {bean_study.sites[0].label}" in sitting.screen
    assert source.kept == [("site", Value(number), False)]


def test_a_site_is_found_by_a_part_of_its_name(sitting: Any, bean_study: Any) -> None:
    site = bean_study.sites[1]
    _, source = sitting.run([sitting.question("site", value=None)], [site.label[:5].lower(), ""])
    assert f"{site.number} is {site.label}." in sitting.screen
    assert source.kept == [("site", Value(site.number), False)]


def test_a_site_that_is_not_in_the_list_sets_the_sheet_aside(sitting: Any) -> None:
    _, source = sitting.run([sitting.question("site", value=None)], ["9999", "l"])
    assert source.kept == []
    (reply,) = source.replies
    assert (reply.sheet.kind, reply.sheet.page_instance_id) == ("aside", 1)


def test_a_date_outside_the_season_is_said_in_full_and_kept_on_a_second_enter(sitting: Any) -> None:
    question = sitting.question("visit_date", value="2026-10-20", visit_date="")
    _, source = sitting.run([question], ["20 10 26", ""])
    whole = "20 October 2026 lies outside the season (20 April 2026 to 30 August 2026)"
    assert whole in " ".join(sitting.screen.split())
    assert source.kept == [("visit_date", Accept(), False)]
    _, source = sitting.run([question], ["20 10 26"])
    assert source.kept == []


SUM = (TOTAL, "pinched.egg_clusters", "pinched.small_larvae", "pinched.large_larvae")
OFF = because(Code.SUM_OFF, total=14, parts=12, fields=SUM)


def sum_card(sitting: Any, *values: str) -> SumCard:
    stated = [sitting.stated(field, v) for field, v in zip(SUM, values, strict=True)]
    return SumCard(tuple(stated), OFF)


def test_a_sum_shows_all_its_fields_and_one_enter_takes_it_as_written(sitting: Any) -> None:
    outcome, source = sitting.run([sum_card(sitting, "14", "3", "4", "5")], [""])
    for text in ("1 total: ", "= 14", "2 Ladybird egg clusters", "under 5 mm", "= 5",
                 "Total 14, parts add to 12"):  # fmt: skip
        assert text in sitting.screen
    assert [answer for _, answer, _ in source.kept] == 4 * [Accept()]
    told = SumTold(SUM, ("14", "3", "4", "5"))
    assert [answer.told for answer in source.replies[0].fields] == [(told,), (), (), ()]
    assert (outcome.answered, outcome.confirmed) == (1, 1)


@pytest.mark.parametrize("typed", [["2 5"], ["2", "5"], ["2=5"], ["9 5", "?", "2", "b", "2 5"]])
def test_the_field_of_a_sum_that_was_misread_is_typed(sitting: Any, typed: list[str]) -> None:
    outcome, source = sitting.run([sum_card(sitting, "14", "3", "4", "5")], typed)
    assert {field: a for field, a, _ in source.kept}["pinched.egg_clusters"] == Value("5")
    assert len(source.kept) == 4
    assert source.replies[0].fields[0].told == ()
    assert outcome.corrected == 1


def test_a_sum_that_still_does_not_fit_is_asked_once_more(sitting: Any) -> None:
    _, source = sitting.run([sum_card(sitting, "14", "3", "4", "5")], ["2 4", ""])
    assert "The total would be 14, the parts add to 13" in sitting.screen
    assert SumTold(SUM, ("14", "4", "4", "5")) in source.replies[0].fields[0].told


def photos_card(sitting: Any, *sheets: dict[str, Any]) -> PhotosCard:
    seen = []
    for number, values in enumerate(sheets, 1):
        common = {"page_instance_id": number, "photo_id": number, "photo": f"photo-000{number}"}
        day = sitting.stated("visit_date", "2026-05-20", **common)
        fields = tuple(sitting.stated(f, v, **common) for f, v in values.items())
        seen.append(SheetInPhoto(fields[0].reading, None, day, fields))
    return PhotosCard(tuple(seen))


PAIR = ({PLANTS: "14", BLACKFLY: "30"}, {PLANTS: "17", BLACKFLY: "88"})


def test_two_photos_of_one_sheet_are_asked_about_once_and_the_better_serves(sitting: Any) -> None:
    _, source = sitting.run([photos_card(sitting, *PAIR)], ["w", ""])
    again = "The same sheet again, or two different sheets: which date or site is wrong?"
    for text in ("1 photo photo-0001 · 2 photo photo-0002", "Bean plants: 14 or 17", again):
        assert text in sitting.screen
    kept = {field: answer for field, answer, _ in source.kept}
    assert kept == {"visit_date": Accept(), PLANTS: Accept(), BLACKFLY: Accept()}
    date_answer, plants, blackfly = source.replies[0].fields
    assert date_answer.told == (SameSheet((1, 2)),)
    assert plants.rivals == (Rival(2, "17"),)
    assert blackfly.rivals == (Rival(2, "88"),)


@pytest.mark.parametrize(
    "typed",
    [["d2 27"], ["d", "2 27"], ["d 2 27 05 26"], ["d", "2", "27"], ["d", "b", "d", "7", "d2 27"]],
)
def test_one_of_the_photos_gets_its_right_date(sitting: Any, typed: list[str]) -> None:
    _, source = sitting.run([photos_card(sitting, *PAIR)], typed)
    assert source.kept == [("visit_date", Value("2026-05-27"), False)]
    (answer,) = source.replies[0].fields
    assert answer.reading_id == photos_card(sitting, *PAIR).sheets[1].date.reading.reading_id


@pytest.mark.parametrize("typed", ["²", "9" * 5000, "d ²", "d 9", "0"])
def test_what_is_no_number_of_a_photo_is_told(sitting: Any, typed: str) -> None:
    _, source = sitting.run([photos_card(sitting, *PAIR)], [typed, "²", "9" * 5000, "s"])
    assert source.kept == []
    assert "2 photos here" in sitting.screen or "Enter or a number" in sitting.screen


def test_a_number_too_long_to_be_one_names_no_field(sitting: Any) -> None:
    card = sum_card(sitting, "14", "3", "4", "5")
    _, source = sitting.run([card], ["9" * 5000 + " 3", "² 3", "s"])
    assert source.kept == []
    assert "type the number of the field" in sitting.screen.lower()


def test_photos_that_are_unlike_have_no_usual_answer(sitting: Any) -> None:
    card = replace(photos_card(sitting, *PAIR), differing=15, compared=15, unlike=True)
    _, source = sitting.run([card], ["", "s"])
    assert source.kept == []
    for text in ("15 of 15 fields that both say surely differ",
                 "Two different sheets: which date or site is wrong? Or the same sheet again?",
                 "they differ in too much to take them for one sheet unasked"):  # fmt: skip
        assert text.lower() in " ".join(sitting.screen.split()).lower()
    assert "Enter" not in sitting.screen
    sitting.run([card], ["what?", "s"])
    assert "Enter" not in sitting.screen, "it would be refused"
    assert "A number if these are photos of one sheet" in sitting.screen
    _, source = sitting.run([card], ["", "w", "2"])
    assert source.replies[0].said == "the same sheet, photo-0002 serves"


def test_in_an_audit_no_sheet_is_set_aside_and_no_key_says_so(sitting: Any) -> None:
    site = sitting.question("site", value=sitting.study.sites[0].number)
    _, source = sitting.run([site], ["999999", "l", "s"], audit=True)
    assert source.kept == []
    text = " ".join(sitting.screen.split())
    assert "not in the list: the sheet is then set aside" not in text
    assert "x if none fits" in text
    _, source = sitting.run([site], ["l"])
    assert source.replies[0].sheet.kind == "aside"


def test_a_photo_without_a_field_for_its_site_gets_another_one(sitting: Any) -> None:
    number = sitting.study.sites[2].number
    _, source = sitting.run([photos_card(sitting, *PAIR)], [f"o1 {number}"])
    assert (source.replies[0].sheet.kind, source.replies[0].sheet.value) == ("site", number)


def test_what_lies_outside_the_picture_is_one_question(sitting: Any) -> None:
    hidden = (because(Code.HIDDEN, why="outside"),)
    fields = [sitting.question(f, value=None, reasons=hidden) for f in (PLANTS, BLACKFLY)]
    outcome, source = sitting.run([OutsideCard(tuple(fields))], ["7", ""])
    assert "2 fields lie outside the picture" in sitting.screen
    assert [answer for _, answer, _ in source.kept] == [Illegible(), Illegible()]
    assert all(answer.told == (PhotoAsked(),) for answer in source.replies[0].fields)
    assert outcome.answered == 1
    _, source = sitting.run([OutsideCard(tuple(fields))], ["x"])
    assert all(answer.told == () for answer in source.replies[0].fields)


def test_nothing_is_confirmed_unseen(sitting: Any) -> None:
    sitting.mode = "off"
    cards = [sitting.question(PLANTS), sum_card(sitting, "14", "3", "4", "5"),
             photos_card(sitting, *PAIR)]  # fmt: skip
    for card in cards:
        _, source = sitting.run([card], ["", ""])
        assert source.kept == []
        assert "nothing is taken as read" in " ".join(sitting.screen.split())
        _, source = sitting.run([card], ["", "w", ""])
        assert source.kept


def test_a_wholly_struck_field_says_what_n_and_x_mean(sitting: Any) -> None:
    struck = (because(Code.STRUCK_OUT),)
    sitting.run([sitting.question(PLANTS, value=None, confidence=0.0, reasons=struck)], [])
    text = " ".join(sitting.screen.split())
    assert "“nothing written” if no other number stands there (then it is not recorded)" in text
    assert "“can't be read” if one does that nobody can read" in text
    assert "0 %" not in text


def test_keys_work_at_the_second_look_too(sitting: Any) -> None:
    for key, answer in (("n", LeftEmpty()), ("x", Illegible())):
        _, source = sitting.run([sitting.question(PLANTS)], ["77", "?", key])
        assert [a for _, a, _ in source.kept] == [answer]
    _, source = sitting.run([sitting.question(PLANTS)], ["77", "b", "12"])
    assert [a for _, a, _ in source.kept] == [Value("12")]
    outcome, source = sitting.run([sitting.question(PLANTS)], ["77", "s"])
    assert (source.kept, outcome.waiting) == ([], 1)


@pytest.mark.parametrize("size", [(80, 24), (60, 24)])
def test_every_question_is_in_sight_with_its_picture(sitting: Any, size: tuple[int, int]) -> None:
    sitting.size = size
    long_ = in_words("the boxes spell 14, all else says 19: which is right? " * 2)
    cards = [
        sitting.question(PLANTS, reasons=long_),
        sitting.question("visit_date", value="2026-05-20"),
        sum_card(sitting, "14", "3", "4", "5"),
        photos_card(sitting, *PAIR),
    ]
    for card in cards:
        sitting.run([card], ["s"])
        lines = sitting.screen.splitlines()
        assert len(lines) <= size[1], "\n".join(lines)
        assert max(map(len, lines)) <= size[0]


def test_an_audit_hides_every_reading_and_marks_the_answers(sitting: Any) -> None:
    question = sitting.question(PLANTS, confidence=0.9999, reasons=())
    _, source = sitting.run([question], ["", "14"], audit=True)
    assert "14" not in sitting.screen.split("> ")[0]
    assert "Why" not in sitting.screen
    assert source.kept == [(PLANTS, Accept(), True)]


def test_in_an_audit_the_first_answer_is_kept_and_the_reading_comes_after(sitting: Any) -> None:
    question = sitting.question(PLANTS, confidence=0.9999, reasons=())
    _, source = sitting.run([question], ["19"], audit=True)
    assert source.kept == [(PLANTS, Value("19"), True)]
    assert "reader saw 14; your answer 19 is kept" in " ".join(sitting.screen.split())


def test_an_answer_changed_after_the_reading_was_seen_is_not_blind(sitting: Any) -> None:
    two = [sitting.question(n, confidence=0.9999, reasons=()) for n in (PLANTS, BLACKFLY)]
    _, source = sitting.run(two, ["19", "b", "14", "s"], audit=True)
    assert source.kept == [(PLANTS, Value("19"), True), (PLANTS, Accept(), False)]


def test_names_with_line_breaks_or_ten_kilobytes_stay_on_their_line(sitting: Any) -> None:
    sitting.run([sitting.question(PLANTS, photo="a\x1b[31m\n" + "b" * 10_000)], [])
    assert "\x1b" not in sitting.screen
    assert len(sitting.screen) < 4_000


def test_question_mark_explains_the_keys(sitting: Any) -> None:
    sitting.run([sitting.question(PLANTS)], ["?"])
    assert "not the same as 0" in sitting.screen


KEYS = st.sampled_from(["", "n", "x", "b", "w", "?", "-", "s", "0", "14", "19", "99", "20 05 26"])


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=examples(60))
@given(st.lists(st.one_of(KEYS, st.text(max_size=12)), max_size=14))
def test_no_typing_breaks_a_review_and_only_possible_values_are_kept(
    sitting: Any, typed: list[str]
) -> None:
    fields = ("site", "visit_date", PLANTS, BLACKFLY, TOTAL)
    values = ("2043", "2026-05-20", "14", None, "12")
    questions = [
        sitting.question(field, value=value, reading_id=number)
        for number, (field, value) in enumerate(zip(fields, values, strict=True))
    ]
    outcome, source = sitting.run(questions, typed)
    assert outcome.answered + outcome.waiting == len(questions)
    assert outcome.answered == len({field for field, _, _ in source.kept})
    for field, answer, _ in source.kept:
        if isinstance(answer, Value):
            kept = checked_value(sitting.study, field, answer.text)
            assert kept == answer.text
            if field == "visit_date":
                date.fromisoformat(kept)


@pytest.mark.parametrize(
    "reason",
    [
        because(Code.ABOVE_RANGE, value=987, highest=60),
        because(Code.BOX_UNCERTAIN, box=2, boxes=3, part="", first="7", second="1"),
        because(Code.GAP, value="987"),
        because(Code.OFF_LIST, site="987", near=["981"], check_digit=False),
        because(Code.NO_SUCH_DAY, day=9, month=87, year=9),
        because(Code.HISTORY_DIFFERS, value="987"),
        because(Code.TEXT, text="987 or 981"),
    ],
)
def test_a_blind_question_holds_no_digit_of_the_answer(sitting: Any, reason: Reason) -> None:
    question = sitting.question(TOTAL, value="987", reasons=(reason,), runner_up="981")
    sitting.run([question], ["s"])
    (why,) = [line for line in sitting.screen.splitlines() if line.startswith("Why:")]
    assert not set(why) & set("9871")
    assert len(why) > len("Why:  …")


UNSURE = because(Code.BOX_UNCERTAIN, box=0, boxes=2, part="", first="1", second="7")


def alike_card(sitting: Any, **values: str) -> AlikeCard:
    common = {"reasons": (UNSURE,), "runner_up": "74", "runner_up_confidence": 0.1}
    stated = [sitting.stated(f.replace("__", "."), v, **common) for f, v in values.items()]
    return AlikeCard(tuple(stated))


FOUR = {"pinched__plants": "14", "unpinched__plants": "17", "pinched__blackfly": "130",
        "unpinched__egg_clusters": "4"}  # fmt: skip


def test_counts_of_one_sheet_that_are_likely_right_are_one_question(sitting: Any) -> None:
    sitting.size = (80, 40)
    outcome, source = sitting.run([alike_card(sitting, **FOUR)], [""])
    for text in ("1 Pinched half: Bean plants = 14", "or 74?", "4 counts of one sheet", "= 130"):
        assert text in sitting.screen
    assert [answer for _, answer, _ in source.kept] == 4 * [Accept()]
    assert (outcome.answered, outcome.confirmed) == (1, 1)
    assert len(sitting.screen.splitlines()) <= 40


@pytest.mark.parametrize("size", [(80, 24), (60, 24)])
def test_where_pictures_would_be_too_small_two_are_shown_at_a_time(
    sitting: Any, size: tuple[int, int]
) -> None:
    sitting.size = size
    _, source = sitting.run([alike_card(sitting, **FOUR)], [""])
    assert "2 counts of one sheet" in sitting.screen
    assert len(sitting.screen.splitlines()) <= 24
    assert [field for field, *_ in source.kept] == ["pinched.plants", "unpinched.plants"]


def test_the_ones_that_are_not_right_are_typed(sitting: Any) -> None:
    sitting.size = (80, 40)
    outcome, source = sitting.run([alike_card(sitting, **FOUR)], ["2 11, 3 n"])
    kept = {field: answer for field, answer, _ in source.kept}
    said = {"unpinched.plants": Value("11"), "pinched.blackfly": LeftEmpty()}
    assert kept == dict.fromkeys(kept, Accept()) | said
    assert outcome.corrected == 1


def test_several_counts_are_not_taken_unseen(sitting: Any) -> None:
    sitting.mode = "off"
    _, source = sitting.run([alike_card(sitting, **FOUR)], [""])
    assert source.kept == []
    _, source = sitting.run([alike_card(sitting, **FOUR)], ["w", ""])
    assert len(source.kept) == 4


def test_back_keeps_or_changes_the_answer_about_several(sitting: Any) -> None:
    plain = sitting.question(PLANTS, reading_id=99)
    _, source = sitting.run([alike_card(sitting, **FOUR), plain], ["", "b", "1 11", ""])
    assert (PLANTS, Value("11"), False) in source.kept
    assert "Answered before: all as read" in sitting.screen


def test_the_readers_second_guess_typed_blind_needs_no_second_look(sitting: Any) -> None:
    low = {"confidence": 0.4, "runner_up": "17", "runner_up_confidence": 0.3}
    _, source = sitting.run([sitting.question(PLANTS, **low)], ["17"])
    assert source.kept == [(PLANTS, Value("17"), False)]
    _, source = sitting.run([sitting.question(PLANTS, **low)], ["11"])
    assert source.kept == []


def test_a_day_and_month_are_of_the_year_of_the_season(sitting: Any) -> None:
    for typed in ("2705", "27 05", "27.5."):
        _, source = sitting.run([sitting.question("visit_date", value="2026-05-27")], [typed])
        assert source.kept == [("visit_date", Accept(), False)], typed
