"""The study file is edited in the middle of a season, with visits and open questions present."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import decided
import made_up
import pytest
from made_up import Said

from sheet_reader.decode.promise import default_threshold
from sheet_reader.errors import UsageError
from sheet_reader.reading.opening import open_record
from sheet_reader.record.history import deciding
from sheet_reader.record.history.answers import Accept, FieldAnswer, SumTold, Value
from sheet_reader.record.history.rows import accepted_sample
from sheet_reader.record.history.states import FieldState
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store.store import Record
from sheet_reader.study.days import Season
from sheet_reader.study.kinds import NUMBER
from sheet_reader.study.study import CountField, FieldSpec, Study, SumRule
from sheet_reader.wording import words

SURE = 0.9999
RENAMED = "renamed"


def sheet(**changed: Said) -> dict[str, Said]:
    """All fields of the stand-in study, accepted; ``plot__count`` changes one."""
    said: dict[str, Said] = {"site": ("1004", "accepted", SURE)}
    said |= {"date": ("2026-05-20", "accepted", SURE), "helpers": ("2", "accepted", SURE)}
    values = {"shade.snails": "7", "shade.eggs": "0", "sun.snails": "12", "sun.eggs": "3"}
    said |= {name: (value, "accepted", SURE) for name, value in values.items()}
    return said | {name.replace("__", "."): what for name, what in changed.items()}


def keep(study: Study, *sheets: dict[str, Said], sheet: str = "BLANK") -> None:
    with Record.open(study) as record:
        for number, said in enumerate(sheets):
            task = made_up.take_in(record, f"{study.key}{number}.png")
            made_up.read_in(record, task, [made_up.page(study, said, sheet=sheet)])


def renamed(study: Study, old: str, new: str) -> Study:
    counts = tuple(replace(c, name=new) if c.name == old else c for c in study.counts)
    return replace(study, counts=counts)


def told(study: Study) -> str:
    with open_record(study) as record:
        return "\n".join(record.notes())


def reading(record: Record, field: str) -> FieldState:
    return next(r for r in record.readings() if r.field == field)


# --- the site list


def test_a_site_that_left_the_list_is_a_note_and_keeps_its_rows(study: Study) -> None:
    keep(study, sheet())
    shorter = replace(study, sites=study.sites[1:])
    verdict = verify(shorter)
    assert verdict.problems == ()
    noted = "\n".join(verdict.notes)
    assert "1 visit is of a site that is not on the site list now (1004)" in noted
    with Record.open(shorter) as record:
        assert [(v.site, v.values["sun.eggs"]) for v in record.visits()] == [("1004", "3")]
    assert "its row stays in the exports" in told(shorter)


def test_an_answer_with_a_site_that_left_the_list_is_explained(study: Study) -> None:
    keep(study, sheet(site=("1004", "flagged", 0.7)))
    with Record.open(replace(study, sites=study.sites[1:])) as record:
        (asked,) = decided.pending(record)
        for answer in (Accept(), Value("1004")):
            with pytest.raises(UsageError, match=r"1004 is not on the site.*put its line back"):
                decided.decide(record, asked.reading_id, answer, by="Ada")


# --- the key


def test_a_changed_key_is_refused_and_changes_nothing(study: Study) -> None:
    keep(study, sheet())
    with pytest.raises(UsageError) as caught:
        Record.open(replace(study, key="lakes"))
    assert "“ponds”" in str(caught.value)
    assert "“lakes”" in str(caught.value)
    assert caught.value.exit_code == 2
    with Record.open(study) as record:
        assert len(record.visits()) == 1


def test_verify_says_it_of_a_changed_key(study: Study) -> None:
    keep(study, sheet())
    assert "ponds" in "\n".join(verify(replace(study, key="lakes")).notes)


def test_a_new_key_is_free_as_long_as_no_page_was_read(study: Study) -> None:
    with Record.open(study) as record:
        made_up.take_in(record, "a.png")
    with Record.open(replace(study, key="lakes")) as record:
        assert record.visits() == []


# --- names


def test_questions_of_a_renamed_count_do_not_wait_for_ever(study: Study) -> None:
    keep(study, sheet(shade__snails=("8", "flagged", 0.7)))
    changed = renamed(study, "snails", RENAMED)
    with Record.open(changed) as record:
        assert decided.pending(record) == []
        assert record.summary().waiting == 0
        assert [v.waiting for v in record.visits()] == [0]
        assert reading(record, "shade.snails").status == "flagged"
        assert reading(record, "sun.snails").value == "12"
    line = told(changed)
    assert "shade.snails, sun.snails" in line
    assert "1 value and 1 question" in line
    assert "rename" in line
    with Record.open(study) as record:
        assert [w.field for w in decided.pending(record)] == ["shade.snails"]


def test_fields_that_the_study_no_longer_knows_are_not_audited(study: Study) -> None:
    import numpy as np

    keep(study, sheet())
    with Record.open(renamed(study, "snails", RENAMED)) as record:
        chosen = accepted_sample(record.state(), 99, np.random.default_rng(0))
        assert {w.field for w in chosen} == {"site", "date", "helpers", "shade.eggs", "sun.eggs"}
        assert record.summary().fields == {"accepted": 5}


@pytest.mark.parametrize("kind", ["site", "date"])
def test_a_renamed_site_or_date_field_is_refused(study: Study, kind: str) -> None:
    """Else what a person decided about it would be forgotten, and the first reading come back."""
    keep(study, sheet(site=("1004", "flagged", 0.7)), sheet(date=("2026-05-27", "accepted", SURE)))
    with Record.open(study) as record:
        asked = next(w for w in decided.pending(record) if w.field == "site")
        decided.decide(record, asked.reading_id, Value("1010"), by="Ada")
    header = tuple(replace(h, name=RENAMED) if h.kind.name == kind else h for h in study.header)
    with pytest.raises(UsageError, match=f"no {kind} field.*“{RENAMED}”"):
        Record.open(replace(study, header=header))


def test_a_header_name_given_to_another_field_is_refused(study: Study) -> None:
    """The names "site" and "helpers" change places: two helpers would be site 2."""
    keep(study, sheet())
    swap = {"site": "helpers", "helpers": "site"}
    header = tuple(replace(h, name=swap.get(h.name, h.name)) for h in study.header)
    with pytest.raises(UsageError, match="site"):
        Record.open(replace(study, header=header))


def test_a_header_name_given_to_another_field_is_refused_on_printed_sheets_too(
    study: Study,
) -> None:
    """Sheets with a printed site number have no site field: "helpers" would be taken for one."""
    said = sheet()
    del said["site"]
    keep(study, said, sheet="1004")
    swap = {"site": "helpers", "helpers": "site"}
    header = tuple(replace(h, name=swap.get(h.name, h.name)) for h in study.header)
    with pytest.raises(UsageError, match="site"):
        Record.open(replace(study, header=header))


def test_pages_of_both_names_are_never_placed_by_a_reading_that_was_corrected(
    study: Study,
) -> None:
    """A record made while such a change was still let through."""
    keep(study, sheet())
    with Record.open(study) as record:
        decided.decide(record, reading(record, "site").reading_id, Value("1010"), by="Ada")
    header = tuple(replace(h, name=RENAMED) if h.kind.name == "site" else h for h in study.header)
    changed = replace(study, header=header)
    other = {RENAMED if name == "site" else name: what for name, what in sheet().items()}
    with Record.open(study) as record:
        task = made_up.take_in(record, "other.png")
        made_up.read_in(record, task, [made_up.page(changed, other)])
    with Record.open(changed) as record:
        assert [v.site for v in record.visits()] == ["1004", ""]
    assert "1 page has no place" in told(changed)


def test_a_printed_sheet_needs_no_site_field(study: Study) -> None:
    said = sheet()
    del said["site"]
    keep(study, said, sheet="1004")
    with Record.open(study) as record:
        assert [v.site for v in record.visits()] == ["1004"]


# --- what may be accepted


def test_a_lowered_allowed_error_asks_again_about_what_is_below_it(study: Study) -> None:
    strict = replace(study, allowed_error=0.0005)
    loose, tight = default_threshold(study.allowed_error), default_threshold(0.0005)
    between = (loose + tight) / 2
    keep(study, sheet(sun__eggs=("3", "accepted", between)))
    with Record.open(study) as record:
        assert decided.pending(record) == []
    with open_record(strict) as record:
        (asked,) = decided.pending(record)
        assert (asked.field, asked.read_value) == ("sun.eggs", "3")
        assert "allowed_error" in words(asked.reasons)
        (visit,) = record.visits()
        assert (visit.values["sun.eggs"], visit.statuses["sun.eggs"]) == ("3", "doubted")
        assert visit.values["sun.snails"] == "12"
    assert "doubted: 1 value; it stays in the tables" in told(strict)
    assert "1 not certain enough for allowed_error" in told(strict)
    with Record.open(study) as record:
        assert record.visits()[0].values["sun.eggs"] == "3"


def test_site_and_date_must_be_surer_than_counts_under_the_new_share_too(study: Study) -> None:
    tight = default_threshold(0.0005)
    keep(study, sheet(site=("1004", "accepted", tight + 0.001)))
    with open_record(replace(study, allowed_error=0.0005)) as record:
        assert [w.field for w in decided.pending(record)] == ["site"]


def test_a_field_taken_as_empty_is_asked_about_again_too(study: Study) -> None:
    keep(study, sheet(sun__eggs=(None, "empty", default_threshold(study.allowed_error))))
    with open_record(replace(study, allowed_error=0.0005)) as record:
        assert [w.field for w in decided.pending(record)] == ["sun.eggs"]


def test_what_a_person_decided_stands_whatever_the_share(study: Study) -> None:
    keep(study, sheet(sun__eggs=("3", "flagged", 0.7)))
    with Record.open(study) as record:
        decided.decide(record, decided.pending(record)[0].reading_id, Accept(), by="Ada")
    with open_record(replace(study, allowed_error=0.0005)) as record:
        assert decided.pending(record) == []


def test_a_raised_share_accepts_nothing_by_itself(study: Study) -> None:
    keep(study, sheet(sun__eggs=("3", "flagged", 0.95)))
    with open_record(replace(study, allowed_error=0.1)) as record:
        assert [w.field for w in decided.pending(record)] == ["sun.eggs"]


# --- ranges, sums and the season


def test_a_value_outside_a_narrowed_range_is_asked_about(study: Study) -> None:
    keep(study, sheet())
    counts = (CountField("snails", "Snails", 2, 0, 10), study.counts[1])
    with Record.open(replace(study, counts=counts)) as record:
        (asked,) = decided.pending(record)
        assert asked.field == "sun.snails"
        assert "12 is more than the highest plausible value 10" in words(asked.reasons)


def test_values_that_a_new_sum_does_not_fit_are_asked_about_together(study: Study) -> None:
    keep(study, sheet())
    changed = replace(study, sums=(SumRule("sun.snails", ("sun.eggs", "shade.snails")),))
    with Record.open(changed) as record:
        asked = {w.field for w in decided.pending(record)}
        assert asked == {"sun.snails", "sun.eggs", "shade.snails"}
        assert "total 12, parts add to 10" in words(decided.pending(record)[0].reasons)
    fitting = replace(study, sums=(SumRule("shade.snails", ("sun.eggs", "shade.eggs")),))
    with Record.open(fitting) as record:
        decided.decide(record, reading(record, "sun.eggs").reading_id, Accept(), by="Ada")
        assert {w.field for w in decided.pending(record)} == {"shade.snails", "shade.eggs"}
        told = (SumTold(("shade.snails", "sun.eggs", "shade.eggs"), ("7", "3", "0")),)
        left = [FieldAnswer(w.reading_id, Accept(), told=told) for w in decided.pending(record)]
        deciding.keep(record, left, "Ada")
        assert decided.pending(record) == []


def test_visits_outside_a_shortened_season_keep_their_rows(study: Study) -> None:
    keep(study, sheet())
    changed = replace(study, season=Season(date(2026, 6, 1), date(2026, 9, 30)))
    with Record.open(changed) as record:
        assert [v.visit_date for v in record.visits()] == ["2026-05-20"]
    assert "1 visit lies outside the season" in told(changed)


def test_a_new_field_is_not_recorded_in_older_rows(study: Study) -> None:
    keep(study, sheet())
    extra = FieldSpec("wind", "Wind", NUMBER, 1, 0, 9)
    changed = replace(study, header=(*study.header, extra), title="Other", paper="Letter")
    with Record.open(changed) as record:
        assert record.visits()[0].values.get("wind") is None
        assert record.summary().waiting == 0
    assert told(changed) == ""


# --- reading on


def test_photos_that_are_not_read_yet_are_told(study: Study) -> None:
    keep(study, sheet())
    assert told(study) == ""
    with Record.open(study) as record:
        made_up.take_in(record, "late.png")
    line = told(study)
    assert "1 photo is not read yet" in line
    assert "sheet-reader read" in line


def test_a_page_refused_when_read_again_keeps_its_values(study: Study) -> None:
    """Two sheets in one photo, the site of one of them off the site list: that one is not lost."""
    first = sheet(site=("1010", "accepted", SURE))
    with Record.open(study) as record:
        task = made_up.take_in(record, "two.png")
        both = [made_up.page(study, first), made_up.page(study, sheet(), place=1)]
        again = made_up.read_in(record, task, both)
        made_up.read_in(record, again, both[1:])
        assert {v.site for v in record.visits()} == {"1004", "1010"}


def test_a_page_in_another_picture_of_the_file_keeps_its_values(study: Study) -> None:
    with Record.open(study) as record:
        task = made_up.take_in(record, "scan.pdf")
        first = made_up.page(study, sheet(site=("1010", "accepted", SURE)))
        second = made_up.page(study, sheet(), frame=1)
        again = made_up.read_in(record, task, [first, second])
        made_up.read_in(record, again, [second])
        assert {v.site for v in record.visits()} == {"1004", "1010"}
