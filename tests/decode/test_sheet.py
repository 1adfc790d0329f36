from datetime import date

import pytest

from sheet_reader.decode.promise import default_threshold
from sheet_reader.decode.sheet import Rules, decode_sheet
from sheet_reader.reasons import Occlusion
from sheet_reader.wording import words


@pytest.fixture
def decode(beans, written, stated, today):
    def run(states, **options):
        page = {k: options.pop(k) for k in ("sheet", "hidden", "error_mm") if k in options}
        filled = written(beans, states, **page)
        reading = decode_sheet(filled.view(), stated(filled.flat()), beans, today, **options)
        return reading, {f.field: f for f in reading.fields}

    return run


GOOD = {"site": "2043", "visit_date": "200526", "helpers": "_3"}


def test_a_clean_sheet_is_accepted(decode):
    page, fields = decode({**GOOD, "a.plants": "12"})
    assert (page.site, page.visit_date) == ("2043", "2026-05-20")
    assert {f.status for f in fields.values()} == {"accepted"}
    assert fields["a.plants"].value == "12"


def test_a_page_says_from_which_confidence_on_it_was_accepted(decode, beans):
    assert decode(GOOD, threshold=0.98)[0].threshold == 0.98
    assert decode(GOOD)[0].threshold == default_threshold(beans.allowed_error)


def test_the_site_of_a_printed_sheet_comes_from_its_code(decode):
    page, fields = decode({"visit_date": "200526"}, sheet="1181")
    assert page.site == "1181"
    assert "site" not in fields


def test_a_printed_sheet_of_a_site_that_left_the_list_has_no_site(decode):
    assert decode({"visit_date": "200526"}, sheet="9999")[0].site is None


@pytest.mark.parametrize("states", ["12_", "_12", "012"])
def test_alignments_read_alike(decode, states):
    assert decode({"a.blackfly": states})[1]["a.blackfly"].value == "12"


def test_all_empty_is_not_recorded(decode):
    field = decode({"a.blackfly": "___"})[1]["a.blackfly"]
    assert (field.value, field.status) == (None, "empty")


@pytest.mark.parametrize(
    ("states", "value", "reason"),
    [
        ("1#2", "12", "a box was struck out; 12 read from the others"),
        ("1_2", "12", "an empty box stands inside the number; read as 12"),
        ("###", None, "struck out, and no other number written"),
        ("#__", None, "struck out, and no other number written"),
        ("1&_", None, "the second box holds several digits"),
        ("-__", None, "the first box holds a mark that is no digit"),
    ],
)
def test_odd_boxes_are_asked_about(decode, states, value, reason):
    field = decode({"a.blackfly": states})[1]["a.blackfly"]
    assert (field.value, field.status, words(field.reasons)) == (value, "flagged", reason)


def test_hidden_boxes_are_asked_about_with_the_reason(decode):
    covered, burnt = Occlusion.COVERED, Occlusion.SATURATED
    hidden = {("a.plants", 0): covered, ("a.plants", 1): covered, ("a.eggs", 1): burnt}
    fields = decode({"a.plants": "12", "a.eggs": "12"}, hidden=hidden)[1]
    assert words(fields["a.plants"].reasons) == "hidden: covered"
    assert words(fields["a.eggs"].reasons) == "the second box is hidden: burnt out"
    assert {f.status for f in fields.values()} == {"flagged"}


def test_a_box_cut_in_an_uncertain_place_is_less_certain(decode):
    sure = decode({"a.plants": "12"}, error_mm=0.1)[1]["a.plants"]
    unsure = decode({"a.plants": "12"}, error_mm=0.6)[1]["a.plants"]
    assert sure.status == "accepted"
    assert (unsure.status, unsure.value) == ("flagged", "12")
    assert 1 - unsure.confidence > 2 * (1 - sure.confidence)


@pytest.mark.parametrize(
    ("states", "value", "reason"),
    [
        ("310426", None, "31 April is no day"),
        ("290226", None, "29 February 26 is no day"),
        (
            "051326",
            "2026-05-13",
            "day 05, month 13, year 26 is no day; "
            "day and month may stand the other way round: 13 May 2026?",
        ),
        ("051413", None, "day 05, month 14, year 13 is no day"),
        ("200926", "2026-09-20", "visit date 20 September 2026 lies in the future"),
        (
            "010326",
            "2026-03-01",
            "visit date 1 March 2026 lies outside the season (20 April 2026 to 30 August 2026)",
        ),
        ("______", None, "the visit date was left empty"),
        ("20__26", None, "the month was left empty"),
    ],
)
def test_dates_that_cannot_be_are_asked_about(decode, states, value, reason):
    page, fields = decode({"visit_date": states})
    field = fields["visit_date"]
    assert (field.value, field.status, words(field.reasons)) == (value, "flagged", reason)
    assert page.visit_date is None


def test_the_calendar_settles_an_unclear_digit(decode):
    states = ["3", {"0": 0.55, "1": 0.44}, "0", "6", "2", "6"]
    assert decode({"visit_date": states}, threshold=0.98)[0].visit_date == "2026-06-30"
    boxes_alone = decode({"visit_date": states}, threshold=0.98, rules=Rules.BOXES)[0]
    assert boxes_alone.visit_date is None


def test_the_calendar_overrules_no_date_that_the_boxes_rather_spell(decode):
    states = ["3", {"1": 0.55, "0": 0.44}, "0", "6", "2", "6"]
    page, fields = decode({"visit_date": states}, threshold=0.98)
    assert page.visit_date is None
    assert words(fields["visit_date"].reasons) == "31 June is no day"
    assert fields["visit_date"].value == "2026-06-30"


def test_the_date_is_read_without_the_calendar_too(decode):
    page, _ = decode({"visit_date": "200926"}, rules=Rules.BOXES)
    assert page.visit_date == "2026-09-20"


def test_a_season_that_has_not_begun_has_no_day(beans, written, stated):
    filled = written(beans, {"visit_date": "200526"})
    page = decode_sheet(filled.view(), stated(filled.flat()), beans, date(2026, 1, 1))
    assert words(page.fields[0].reasons) == "visit date 20 May 2026 lies in the future"


@pytest.mark.parametrize(
    ("states", "value", "reason"),
    [
        ("2049", "2043", "site 2049 is not on the site list; 2043 is"),
        ("2403", "2043", "site 2403 is not on the site list; 2043 is"),
        ("9998", "9998", "site 9998 is not on the site list and its check digit does not fit"),
        ("5724", "5724", "site 5724 is not on the site list"),
        ("____", None, "the site number was left empty"),
    ],
)
def test_sites_not_on_the_list_are_asked_about(decode, states, value, reason):
    page, fields = decode({"site": states})
    field = fields["site"]
    assert (field.value, field.status, words(field.reasons)) == (value, "flagged", reason)
    assert page.site is None


def test_the_list_settles_an_unclear_digit(decode):
    states = {"site": ["2", "0", "4", {"3": 0.6, "8": 0.395}]}
    page, fields = decode(states, threshold=0.99)
    assert page.site == "2043"
    assert fields["site"].confidence > 0.998
    assert decode(states, threshold=0.99, rules=Rules.BOXES)[0].site is None


def test_a_value_out_of_range_is_asked_about_not_changed(decode):
    fields = decode({"a.plants": "72", "helpers": "_0"})[1]
    assert fields["a.plants"].value == "72"
    assert words(fields["a.plants"].reasons) == "72 is more than the highest plausible value 60"
    assert words(fields["helpers"].reasons) == "0 is less than the lowest plausible value 1"


def test_an_unclear_box_is_named(decode):
    states = {"a.plants": ["1", {"1": 0.6, "7": 0.39}]}
    field = decode(states, rules=Rules.ALL & ~Rules.WRITER)[1]["a.plants"]
    assert words(field.reasons) == "the second box could be 1 or 7"
    assert (field.value, field.runner_up) == ("11", "17")
    assert field.runner_up_confidence == pytest.approx(0.39, abs=0.01)


def test_the_sites_own_history_makes_a_value_more_certain(decode):
    states = {**GOOD, "a.plants": ["1", {"1": 0.6, "7": 0.395}]}
    history = {"2043": {"a.plants": [17, 16, 18]}}
    boxes = Rules.ALL & ~Rules.WRITER
    with_it = decode(states, history=history, rules=boxes)[1]["a.plants"]
    elsewhere = {"1181": {"a.plants": [17, 16, 18]}}
    other_site = decode(states, history=elsewhere, rules=boxes)[1]["a.plants"]
    assert with_it.runner_up_confidence > other_site.runner_up_confidence
    switched_off = decode(states, history=history, rules=boxes & ~Rules.HISTORY)
    assert switched_off[1]["a.plants"] == other_site


@pytest.mark.parametrize(("sure", "status"), [(0.9, "flagged"), (0.6, "accepted")])
def test_the_writers_hand_overrules_no_clear_digit(decode, monkeypatch, sure, status):
    """A writer model that swears that this person's every 1 is a 7."""

    def sworn(probabilities, *_):
        ones = probabilities[:, 1] > 0.5
        out = probabilities.copy()
        out[ones, 1], out[ones, 7] = 1e-5, probabilities[ones][:, (1, 7)].sum(axis=1)
        return out

    monkeypatch.setattr("sheet_reader.decode.hand.adapted", sworn)
    doubtful = {"1": sure, "7": 1 - sure - 1e-4}
    count = decode({"a.plants": ["2", doubtful]}, threshold=0.9)[1]["a.plants"]
    assert (count.value, count.status) == ("21" if status == "flagged" else "27", status)
    if status == "flagged":
        assert words(count.reasons) == "the boxes spell 21, all else says 27: which is right?"


def test_the_writers_hand_makes_no_other_date_of_clear_digits(decode, monkeypatch):
    def sworn(probabilities, *_):
        out = probabilities.copy()
        out[1, 5], out[1, 9] = 1e-5, probabilities[1, [5, 9]].sum()
        return out

    monkeypatch.setattr("sheet_reader.decode.hand.adapted", sworn)
    page, fields = decode({"visit_date": ["1", {"5": 0.9, "9": 0.0999}, *"0626"]}, threshold=0.9)
    assert page.visit_date is None
    assert fields["visit_date"].value == "2026-06-15"
    assert words(fields["visit_date"].reasons) == (
        "the boxes spell 2026-06-15, the writer's hand 2026-06-19: which is right?"
    )
