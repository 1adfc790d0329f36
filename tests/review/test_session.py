"""The conversation of a review."""

from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sheet_reader.reasons import Code, Reason, because, in_words
from sheet_reader.record.deciding import checked_value
from sheet_reader.record.model import Accept, LeftEmpty, Unreadable, Value

PLANTS = "pinched.plants"
BLACKFLY = "pinched.blackfly"
TOTAL = "pinched.ladybirds"


def test_enter_takes_what_was_read(sitting: Any) -> None:
    outcome, desk = sitting.run([sitting.question(PLANTS)], [""])
    assert desk.kept == [(PLANTS, Accept(), False)]
    assert (outcome.answered, outcome.confirmed, outcome.waiting) == (1, 1, 0)


def test_digits_replace_it(sitting: Any) -> None:
    outcome, desk = sitting.run([sitting.question(PLANTS)], ["19"])
    assert desk.kept == [(PLANTS, Value("19"), False)]
    assert outcome.corrected == 1


def test_typing_what_was_read_confirms_it(sitting: Any) -> None:
    _, desk = sitting.run([sitting.question(PLANTS)], ["014"])
    assert desk.kept == [(PLANTS, Accept(), False)]


def test_nothing_written_and_unreadable(sitting: Any) -> None:
    questions = [sitting.question(PLANTS), sitting.question(BLACKFLY)]
    _, desk = sitting.run(questions, ["n", "X"])
    assert desk.kept == [(PLANTS, LeftEmpty(), False), (BLACKFLY, Unreadable(), False)]


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
        "Enter 14 is right",
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
    outcome, desk = sitting.run(questions, ["", "s"])
    assert len(desk.kept) == 1
    assert outcome.waiting == 1


def test_the_end_of_input_is_a_stop(sitting: Any) -> None:
    outcome, desk = sitting.run([sitting.question(PLANTS)], [])
    assert desk.kept == []
    assert outcome.waiting == 1


def test_back_asks_again_and_keeps_the_later_answer(sitting: Any) -> None:
    questions = [sitting.question(PLANTS), sitting.question(BLACKFLY)]
    outcome, desk = sitting.run(questions, ["19", "b", "15", ""])
    assert [answer for _, answer, _ in desk.kept] == [Value("19"), Value("15"), Accept()]
    assert "Answered before: 19" in sitting.screen
    assert (outcome.answered, outcome.corrected, outcome.confirmed) == (2, 1, 1)


def test_enter_after_back_keeps_the_answer_given(sitting: Any) -> None:
    questions = [sitting.question(PLANTS), sitting.question(BLACKFLY)]
    _, desk = sitting.run(questions, ["19", "b", "", "s"])
    assert [answer for _, answer, _ in desk.kept] == [Value("19")]


def test_back_at_the_first_question_stays_there(sitting: Any) -> None:
    _, desk = sitting.run([sitting.question(PLANTS)], ["b", ""])
    assert "This is the first question." in sitting.screen
    assert len(desk.kept) == 1


def test_a_value_out_of_range_is_asked_once_more(sitting: Any) -> None:
    _, desk = sitting.run([sitting.question(PLANTS)], ["77", ""])
    assert "77 is more than 60, the highest value expected here" in sitting.screen
    assert desk.kept == [(PLANTS, Value("77"), False)]


def test_a_value_out_of_range_can_be_put_right(sitting: Any) -> None:
    _, desk = sitting.run([sitting.question(PLANTS)], ["77", "17"])
    assert desk.kept == [(PLANTS, Value("17"), False)]


@pytest.mark.parametrize("typed", ["1o", "-3", "1.5", "=1+1", "yes", "٣"])
def test_what_is_no_number_is_refused_and_asked_again(typed: str, sitting: Any) -> None:
    _, desk = sitting.run([sitting.question(PLANTS)], [typed, "3"])
    assert desk.kept == [(PLANTS, Value("3"), False)]
    assert "Type the number in digits" in sitting.screen


def test_nothing_read_has_nothing_to_accept(sitting: Any) -> None:
    question = sitting.question(PLANTS, value=None, confidence=0.0, runner_up=None)
    _, desk = sitting.run([question], ["", "7"])
    assert "Nothing was read here" in sitting.screen
    assert desk.kept == [(PLANTS, Value("7"), False)]


def test_a_settled_date_shows_in_the_next_questions(sitting: Any) -> None:
    questions = [
        sitting.question("visit_date", value="2026-05-20", visit_date=""),
        sitting.question(PLANTS, visit_date=""),
    ]
    sitting.run(questions, ["20 05 26"])
    first, second = sitting.screen.split("2 of 2")
    assert "visit not settled" in first
    assert "visit 2026-05-20" in second


def test_the_whole_photo_opens(sitting: Any) -> None:
    sitting.run([sitting.question(PLANTS)], ["w", ""])
    assert [path.name for path in sitting.launched] == ["1.png"]
    assert not sitting.launched[0].exists()


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
    _, desk = sitting.run([sitting.question(TOTAL)], ["14"])
    assert desk.kept == [(TOTAL, Accept(), False)]


def test_blind_disagreement_is_shown_and_asked_once_more(sitting: Any) -> None:
    _, desk = sitting.run([sitting.question(TOTAL)], ["19", ""])
    assert "the reader saw 14 (80 %), you typed 19" in sitting.screen
    assert desk.kept == [(TOTAL, Value("19"), False)]


def test_blind_slip_of_the_finger_is_put_right(sitting: Any) -> None:
    _, desk = sitting.run([sitting.question(TOTAL)], ["41", "14"])
    assert desk.kept == [(TOTAL, Accept(), False)]


def test_a_site_off_the_list_is_refused(sitting: Any, bean_study: Any) -> None:
    number = bean_study.sites[0].number
    wrong = number[:-1] + str((int(number[-1]) + 1) % 10)
    _, desk = sitting.run([sitting.question("site", value=None)], [wrong, number])
    assert f"Site {wrong} is not on the site list" in sitting.screen
    assert number in sitting.screen
    assert desk.kept == [("site", Value(number), False)]


def test_a_sum_that_does_not_hold_shows_all_its_fields(sitting: Any) -> None:
    names = (TOTAL, "pinched.egg_clusters", "pinched.small_larvae", "pinched.large_larvae")
    question = sitting.question(
        TOTAL, together=names, reasons=in_words("total 14, parts add to 12")
    )
    _, desk = sitting.run([question], [""])
    for label in ("total: ", "part: ", "→ total: ", "Ladybird egg clusters", "under 5 mm"):
        assert label in sitting.screen
    assert desk.kept == [(TOTAL, Accept(), False)]


def test_a_sum_that_still_does_not_hold_is_asked_once_more(sitting: Any) -> None:
    names = (TOTAL, "pinched.egg_clusters", "pinched.small_larvae", "pinched.large_larvae")
    question = sitting.question(TOTAL, together=names)
    sitting.shown_as = "answered"
    _, desk = sitting.run([question], ["", "42"])
    assert "the total would be 14, the parts add to 42" in sitting.screen
    assert desk.kept == [(TOTAL, Value("42"), False)]


def test_an_audit_hides_every_reading_and_marks_the_answers(sitting: Any) -> None:
    question = sitting.question(PLANTS, confidence=0.9999, reasons=())
    _, desk = sitting.run([question], ["", "14"], audit=True)
    assert "14" not in sitting.screen.split("> ")[0]
    assert "Why" not in sitting.screen
    assert desk.kept == [(PLANTS, Accept(), True)]


def test_names_with_line_breaks_or_ten_kilobytes_stay_on_their_line(sitting: Any) -> None:
    sitting.run([sitting.question(PLANTS, photo="a\x1b[31m\n" + "b" * 10_000)], [])
    assert "\x1b" not in sitting.screen
    assert len(sitting.screen) < 4_000


def test_question_mark_explains_the_keys(sitting: Any) -> None:
    sitting.run([sitting.question(PLANTS)], ["?"])
    assert "not the same as 0" in sitting.screen


KEYS = st.sampled_from(["", "n", "x", "b", "w", "?", "-", "s", "0", "14", "19", "99", "20 05 26"])


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
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
    outcome, desk = sitting.run(questions, typed)
    assert outcome.answered + outcome.waiting == len(questions)
    assert outcome.answered == len({field for field, _, _ in desk.kept})
    for field, answer, _ in desk.kept:
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
    assert not any(character.isdigit() for character in why)
    assert len(why) > len("Why:  …")
