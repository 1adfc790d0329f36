"""Words that change: a value keeps those of its sheet, and a person says once what they mean."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import decided
import made_up
import pytest
from made_up import Said

from sheet_reader.answers.questions import SumCard
from sheet_reader.answers.replies import sum_reply
from sheet_reader.errors import UnsaidError, UsageError
from sheet_reader.reading.written_areas import bare_picture
from sheet_reader.record.history import deciding
from sheet_reader.record.history.answers import Value
from sheet_reader.record.history.meaning import MeaningQuestion, Meanings, Term, told
from sheet_reader.record.history.meaning_answers import (
    add_answers,
    load_meanings,
    open_questions,
    take_back,
)
from sheet_reader.record.history.photo_fates import photo_fates
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.people.erase import erase
from sheet_reader.record.store.store import Record
from sheet_reader.review.queue import cards_of
from sheet_reader.sheet.kept_layouts import keep_labels
from sheet_reader.study.former import as_text, from_text, wording_of
from sheet_reader.study.study import Effort, Plot, Study, SumRule

SURE = 0.9999
FIELDS = ("helpers", "shade.snails", "shade.eggs", "sun.snails", "sun.eggs")
Change = Callable[[Study], Study]


def read(study: Study, photo: str, day: str, values: dict[str, str]) -> None:
    said: dict[str, Said] = {"site": ("1004", "accepted", SURE), "date": (day, "accepted", SURE)}
    said |= {name: (value, "accepted", SURE) for name, value in values.items()}
    with Record.open(study) as record:
        made_up.read_in(record, made_up.take_in(record, photo), [made_up.page(study, said)])


@pytest.fixture
def was(study: Study) -> Study:
    """The study, with one sheet in its record, of which a person decided something."""
    read(study, "a.png", "2026-05-20", dict(zip(FIELDS, "23456", strict=True)))
    with Record.open(study) as record:
        row = next(r for r in record.readings() if r.field == "sun.eggs")
        decided.decide(record, row.reading_id, Value("9"), by="Ada")
    return study


def counts(study: Study, **changes: dict[str, str]) -> Study:
    return replace(
        study, counts=tuple(replace(c, **changes.get(c.name, {})) for c in study.counts)
    )


def plots(study: Study, **changes: dict[str, str]) -> Study:
    return replace(study, plots=tuple(replace(p, **changes.get(p.name, {})) for p in study.plots))


def labels(study: Study, **changes: str) -> Study:
    sites = (replace(s, label=changes.get(f"s{s.number}", s.label)) for s in study.sites)
    return replace(study, sites=tuple(sites))


def swapped_plots(study: Study) -> Study:
    return plots(study, shade={"name": "sun"}, sun={"name": "shade"})


def renamed(study: Study) -> Study:
    return counts(study, snails={"name": "shells"})


def questions(study: Study) -> list[MeaningQuestion]:
    with Record.open(study, of_any_study=True) as record, record.reading() as connection:
        return open_questions(connection, study)


def asked(study: Study) -> list[tuple[str, str, tuple[str, ...]]]:
    found = questions(study)
    return [(q.former.kind, q.former.name, tuple(t.name for t in q.candidates)) for q in found]


def say(study: Study, former: str, present: str, *, same: bool = True) -> None:
    """Answer what is open about ``former``: it is ``present``, or is not."""
    chosen = [
        (q.former, term, same)
        for q in questions(study)
        for term in q.candidates
        if (q.former.name, term.name) == (former, present)
    ]
    assert chosen
    with Record.open(study, of_any_study=True) as record, record.writing() as connection:
        add_answers(connection, study, chosen, "Ada Bell")


def values(study: Study) -> list[dict[str, str | None]]:
    """What each visit has, but for what is missing."""
    names = [spec.name for spec in study.fields if spec.kind.name not in ("site", "date")]
    with Record.open(study) as record:
        return [
            {name: v.values[name] for name in names if v.values.get(name)}
            for v in record.visits()
        ]


CHANGES: dict[str, Change] = {
    "names of two plots": swapped_plots,
    "treatments of two plots": lambda s: plots(
        s, shade={"treatment": "open"}, sun={"treatment": "shaded"}
    ),
    "label of a plot": lambda s: plots(s, shade={"label": "Shady"}),
    "names of two counts": lambda s: counts(s, snails={"name": "eggs"}, eggs={"name": "snails"}),
    "labels of two counts": lambda s: counts(
        s, snails={"label": "Egg masses"}, eggs={"label": "Snails"}
    ),
    "a unit": lambda s: counts(s, snails={"unit": "h"}),
    "the unit of the effort": lambda s: replace(s, effort=Effort("helpers", "h")),
    "label of a number": lambda s: replace(
        s, header=tuple(replace(h, label=h.label + "!") for h in s.header)
    ),
    "label of a site": lambda s: labels(s, s1004="Mill brook"),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_changed_words_are_asked_before_anything_is_shown(was: Study, change: Change) -> None:
    now = change(was)
    with pytest.raises(UnsaidError, match="the same in better words, or another thing") as error:
        Record.open(now)
    assert "\n" not in str(error.value)
    assert error.value.exit_code == 2
    assert str(was.folder) in error.value.where
    with Record.open(was) as record:
        assert record.visits()[0].values["shade.snails"] == "3"


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_better_words_change_nothing_and_are_asked_once(was: Study, change: Change) -> None:
    now = change(was)
    while found := [q for q in questions(now) if q.blocks]:
        say(now, found[0].former.name, found[0].former.name)
    assert values(now) == values(was)
    assert asked(now) == []
    assert verify(now).problems == ()


def test_title_notes_ranges_and_instructions_are_free(was: Study) -> None:
    now = counts(was, snails={"note": "also empty ones", "taxon": "Lymnaea"})
    now = replace(now, title="Snails of ponds", instructions=("Look well.",), allowed_error=0.01)
    assert values(now) == values(was)
    assert asked(now) == []


def test_what_has_no_values_yet_is_free(study: Study) -> None:
    now = swapped_plots(study)
    with Record.open(study):
        pass
    read(now, "a.png", "2026-05-20", {"shade.snails": "7"})
    assert values(now) == [{"shade.snails": "7"}]


def test_swapped_names_are_seen_as_such_and_values_follow_their_words(was: Study) -> None:
    now = swapped_plots(was)
    assert asked(now) == [
        ("plot", "shade", ("shade", "sun")),
        ("plot", "sun", ("sun", "shade")),
    ]
    first = questions(now)[0]
    assert first.moved
    assert told(first) == "“Shade (shaded)” stood on the sheets as shade, and is sun now"
    with Record.open(now, of_any_study=True) as record, record.writing() as connection:
        moved = [(q.former, q.candidates[-1], True) for q in questions(now)]
        add_answers(connection, now, moved, "Ada")
    expected = {"sun.snails": "3", "sun.eggs": "4", "shade.snails": "5", "shade.eggs": "9"}
    assert values(now) == [{"helpers": "2"} | expected]
    read(now, "b.png", "2026-05-27", {"sun.snails": "8"})
    assert [v["sun.snails"] for v in values(now)] == ["3", "8"]
    say_nothing = values(was)  # swapped back: the second sheet's words stand under shade again
    assert [v["shade.snails"] for v in say_nothing] == ["3", "8"]


def test_another_thing_stands_apart_until_its_words_come_back(was: Study) -> None:
    now = plots(was, shade={"label": "Hedge"})
    say(now, "shade", "shade", same=False)
    assert values(now) == [{"helpers": "2", "sun.snails": "5", "sun.eggs": "9"}]
    assert asked(now) == []
    read(now, "b.png", "2026-05-27", {"shade.snails": "8"})
    assert [v.get("shade.snails") for v in values(now)] == [None, "8"]
    with Record.open(now) as record:
        fields = {(r.field, r.value) for r in record.readings()}
        (note,) = record.notes()
    assert {("shade “Shade (shaded)”.snails", "3"), ("shade.snails", "8")} <= fields
    assert "shade “Shade (shaded)”.snails" in note
    assert [v.get("shade.snails") for v in values(was)] == ["3", None]
    hedge = replace(now, plots=(*was.plots, Plot("hedge", "Hedge", "shaded")))
    assert asked(hedge) == [("plot", "shade", ("hedge",))]
    say(hedge, "shade", "hedge")
    assert [v.get("hedge.snails") for v in values(hedge)] == [None, "8"]


def test_an_answer_is_of_these_words_and_each_of_them_follows(was: Study) -> None:
    second, third = (counts(was, snails={"label": text}) for text in ("All snails", "Snail"))
    say(second, "snails", "snails")
    read(second, "b.png", "2026-05-27", {"shade.snails": "8"})
    assert [q.former.said for q in questions(third)] == ["Snails", "All snails"]
    say(third, "snails", "snails")
    assert [v["shade.snails"] for v in values(third)] == ["3", "8"]
    assert [v["shade.snails"] for v in values(second)] == ["3", "8"]


def test_an_answer_can_be_taken_back(was: Study) -> None:
    now = counts(was, snails={"label": "Slugs"})
    say(now, "snails", "snails")
    with Record.open(now) as record, record.writing() as connection:
        assert len(take_back(connection, now, "snails", "Ada")) == 1
    with pytest.raises(UnsaidError):
        Record.open(now)
    say(now, "snails", "snails", same=False)
    assert "shade.snails" not in values(now)[0]


def test_two_things_of_one_sheet_are_never_one(was: Study) -> None:
    now = swapped_plots(was)
    shade, sun = questions(now)
    both = [(shade.former, shade.candidates[0], True), (sun.former, sun.candidates[-1], True)]
    with (
        pytest.raises(UsageError, match="two plots"),
        Record.open(now, of_any_study=True) as record,
        record.writing() as connection,
    ):
        add_answers(connection, now, both, "Ada")
    assert len(questions(now)) == 2


def test_the_parts_of_a_sum(study: Study) -> None:
    three = replace(study.counts[0], name="slugs", label="Slugs")
    study = replace(study, counts=(*study.counts, three))

    def summed(total: str, *parts: str) -> Study:
        sums = (SumRule(f"{p}.{total}", tuple(f"{p}.{n}" for n in parts)) for p in ("shade", "sun"))
        return replace(study, sums=tuple(sums))

    read(summed("snails", "eggs"), "a.png", "2026-05-20", {"shade.snails": "3", "shade.eggs": "3"})
    assert asked(summed("snails", "slugs")) == [("sum", "snails", ("snails",))]
    assert asked(study) == []
    now = summed("snails", "eggs", "slugs")
    assert told(questions(now)[0]) == (
        "sum snails was “eggs” on the sheets, and is “eggs + slugs” now"
    )
    say(now, "snails", "snails", same=False)
    assert values(now) == [{"shade.eggs": "3"}]
    named = counts(summed("snails", "eggs"), eggs={"name": "clutches"})
    named = replace(named, sums=tuple(SumRule(s.total, (s.total[:-6] + "clutches",))
                                      for s in named.sums))  # fmt: skip
    say(named, "eggs", "clutches")
    assert values(named) == [{"shade.snails": "3", "shade.clutches": "3"}]


def test_a_sum_that_was_confirmed_is_not_asked_again_under_a_new_name(study: Study) -> None:
    def summed(study: Study) -> Study:
        total, part = (c.name for c in study.counts)
        return replace(study, sums=(SumRule(f"shade.{total}", (f"shade.{part}",)),))

    was, now = summed(study), summed(renamed(study))

    def waiting(study: Study) -> list[str]:
        with Record.open(study) as record:
            return [w.field for w in decided.pending(record)]

    read(was, "a.png", "2026-05-20", {"shade.snails": "3", "shade.eggs": "4"})
    say(now, "snails", "shells")
    for study in (now, was):
        assert len(waiting(study)) == 2
        with Record.open(study) as record:
            (card,) = cards_of(study, record.state())
            assert isinstance(card, SumCard)
            deciding.keep(record, sum_reply(card).fields, "Ada")
        assert waiting(was) == waiting(now) == []
        with Record.open(study) as record:
            decided.undo_last(record, "Ada")


def test_a_site_keeps_its_place(was: Study) -> None:
    other = next(s for s in was.sites if s.number != "1004")
    now = labels(was, s1004=other.label)
    assert asked(now) == [("site", "1004", ("1004",))]
    with pytest.raises(UsageError, match="a number means one place"):
        say(now, "1004", "1004", same=False)
    say(now, "1004", "1004")
    assert values(now) == values(was)


def test_a_label_that_was_printed_is_remembered(study: Study) -> None:
    before = next(s.label for s in study.sites if s.number == "1004")
    keep_labels(study, [s.number for s in study.sites])
    keep_labels(study, ["BLANK"])
    now = labels(study, s1004="Weir")
    read(now, "a.png", "2026-05-20", {"shade.snails": "7"})
    assert [(q.former.said, q.candidates[0].said) for q in questions(now)] == [(before, "Weir")]


def test_a_site_that_a_person_names_has_its_label_kept(study: Study) -> None:
    said: dict[str, Said] = {
        "site": ("1004", "flagged", 0.5), "date": ("2026-05-20", "accepted", SURE)
    }  # fmt: skip
    with Record.open(study) as record:
        made_up.read_in(record, made_up.take_in(record, "a.png"), [made_up.page(study, said)])
        row = next(r for r in record.readings() if r.field == "site")
        decided.decide(record, row.reading_id, Value("1004"), by="Ada")
    assert asked(labels(study, s1004="Weir")) == [("site", "1004", ("1004",))]


def test_a_renamed_count_keeps_its_column_once_it_is_said(was: Study) -> None:
    now = renamed(was)
    read(now, "b.png", "2026-05-27", {"shade.shells": "9"})
    assert [v.get("shade.shells") for v in values(now)] == [None, "9"]
    assert asked(now) == [("count", "snails", ("shells",))]
    say(now, "snails", "shells")
    assert [v.get("shade.shells") for v in values(now)] == ["3", "9"]
    with Record.open(now) as record:
        assert record.notes() == []
        story = [e.field for e in record.history("1004", "2026-05-20")]
        row = next(r for r in record.readings() if r.field == "shade.shells" and r.value == "3")
        decided.decide(record, row.reading_id, Value("8"), by="Ada")
    assert "sun.shells" in story
    assert "sun.snails" not in story
    assert values(now)[0]["shade.shells"] == "8"
    assert verify(now).problems == ()
    assert values(was)[0]["shade.snails"] == "8"


def test_a_name_that_is_gone_for_good_is_asked_once(was: Study) -> None:
    now = renamed(was)
    former = Term("count", "snails", "Snails")
    with Record.open(now) as record, record.writing() as connection:
        add_answers(connection, now, [(former, replace(former, said=""), False)], "Ada")
    assert asked(now) == []


def test_the_same_label_is_the_likelier_one(was: Study) -> None:
    eggs = replace(was.counts[1], name="clutches")
    slugs = replace(was.counts[1], name="slugs", label="Slugs")
    now = replace(was, counts=(was.counts[0], slugs, eggs))
    assert asked(now) == [("count", "eggs", ("clutches", "slugs"))]


def test_nothing_is_asked_where_a_count_only_came_or_went(was: Study) -> None:
    assert asked(replace(was, counts=was.counts[:1])) == []
    assert asked(replace(was, counts=(*was.counts, replace(was.counts[0], name="slugs")))) == []


def test_what_became_of_a_sheet_is_told_where_the_study_has_none_of_its_counts(was: Study) -> None:
    other = replace(was.counts[0], name="slugs", label="Slugs")
    header = tuple(h for h in was.header if h.kind.name != "number")
    now = replace(was, header=header, counts=(other,))
    with Record.open(now) as record:
        assert {e.field for e in record.history("1004", "2026-05-20")} >= {"shade.snails"}
        assert [fate.sheets[0].became.what for fate in photo_fates(record)] == ["read"]


def test_who_said_it_is_erased_with_the_person(was: Study) -> None:
    now = renamed(was)
    say(now, "snails", "shells")
    erase(now, "Ada Bell", bare_picture)
    with Record.open(now) as record, record.reading() as connection:
        (answer,) = load_meanings(connection, now).answers
    assert answer.by == "forgotten person"
    assert values(now)[0]["shade.shells"] == "3"
    assert verify(now).problems == ()


def test_a_wording_comes_back_from_its_text(study: Study) -> None:
    assert from_text(as_text(wording_of(study))) == wording_of(study)
    assert Meanings(study).renamed(wording_of(study)) == {}
