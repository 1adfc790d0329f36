"""A renamed count: asked about once, its column holds together, and the answer can be undone."""

from __future__ import annotations

from dataclasses import replace

import made_up
import pytest
from made_up import Said

from sheet_reader.record.erase import erase
from sheet_reader.record.model import Value
from sheet_reader.record.same_names import (
    add_answer,
    load_names,
    open_questions,
    take_back,
)
from sheet_reader.record.store import Record
from sheet_reader.record.verify import verify
from sheet_reader.study.model import Plot, Study

SURE = 0.9999


def sheet(count: str, value: str, day: str) -> dict[str, Said]:
    said = {"site": "1004", "date": day, f"shade.{count}": value, f"sun.{count}": "0"}
    return {name: (text, "accepted", SURE) for name, text in said.items()}


def renamed(study: Study) -> Study:
    counts = tuple(replace(c, name="shells") if c.name == "snails" else c for c in study.counts)
    return replace(study, counts=counts)


@pytest.fixture
def changed(study: Study) -> Study:
    """One sheet before the count was renamed, with a decision, and one after."""
    with Record.open(study) as record:
        task = made_up.take_in(record, "a.png")
        made_up.read_in(record, task, [made_up.page(study, sheet("snails", "7", "2026-05-20"))])
        row = next(r for r in record.readings() if r.field == "sun.snails")
        record.decide(row.reading_id, Value("3"), by="Ada")
    now = renamed(study)
    with Record.open(now) as record:
        task = made_up.take_in(record, "b.png")
        made_up.read_in(record, task, [made_up.page(now, sheet("shells", "9", "2026-05-27"))])
    return now


def columns(study: Study) -> list[tuple[str | None, str | None]]:
    with Record.open(study) as record:
        return [(v.values.get("shade.shells"), v.values.get("sun.shells")) for v in record.visits()]


def say(study: Study, former: str, present: str | None, kind: str = "count") -> None:
    with Record.open(study) as record, record.writing() as connection:
        add_answer(connection, study, kind, former, present, "Ada Bell")


def asked(study: Study, *former: Study) -> list[tuple[str, str, tuple[str, ...]]]:
    with Record.open(study) as record:
        fields = {f.reading.field for v in record.state() for f in v.fields}
        with record.reading() as connection:
            names = load_names(connection, study)
    questions = open_questions(study, former, sorted(fields), names)
    return [(q.kind, q.former, q.candidates) for q in questions]


def test_a_renamed_count_keeps_its_column_once_it_is_said(study: Study, changed: Study) -> None:
    assert columns(changed) == [(None, None), ("9", "0")]
    assert asked(changed, study) == [("count", "snails", ("shells",))]
    say(changed, "snails", "shells")
    assert columns(changed) == [("7", "3"), ("9", "0")]
    assert asked(changed, study) == []
    with Record.open(changed) as record:
        assert record.notes() == []
        story = [e.field for e in record.history("1004", "2026-05-20")]
        assert "sun.shells" in story
        assert "sun.snails" not in story
        row = next(r for r in record.readings() if r.field == "shade.shells" and r.value == "7")
        record.decide(row.reading_id, Value("8"), by="Ada")
    assert columns(changed)[0] == ("8", "3")
    assert verify(changed).problems == ()


def test_it_can_be_taken_back_and_said_anew(study: Study, changed: Study) -> None:
    say(changed, "snails", "shells")
    with Record.open(changed) as record, record.writing() as connection:
        assert [a.present for a in take_back(connection, changed, "snails", "Ada")] == ["shells"]
    assert columns(changed) == [(None, None), ("9", "0")]
    assert asked(changed, study) == [("count", "snails", ("shells",))]
    say(changed, "snails", "shells")
    assert columns(changed) == [("7", "3"), ("9", "0")]


def test_a_different_thing_is_not_asked_about_again(study: Study, changed: Study) -> None:
    say(changed, "snails", None)
    assert asked(changed, study) == []
    assert columns(changed) == [(None, None), ("9", "0")]


def test_renamed_back_the_former_name_is_itself_again(study: Study, changed: Study) -> None:
    say(changed, "snails", "shells")
    with Record.open(study) as record:
        assert record.visits()[0].values["shade.snails"] == "7"


def test_the_same_label_is_the_likelier_one(study: Study) -> None:
    eggs = replace(study.counts[1], name="clutches", label="Egg masses")
    slugs = replace(study.counts[1], name="slugs", label="Slugs")
    now = replace(study, counts=(study.counts[0], slugs, eggs))
    assert asked(now, study) == [("count", "eggs", ("clutches", "slugs"))]


def test_plots_too(study: Study) -> None:
    now = replace(study, plots=(Plot("dark", "Shade"), study.plots[1]))
    assert asked(now, study) == [("plot", "shade", ("dark",))]
    say(now, "shade", "dark", "plot")
    with Record.open(now) as record, record.reading() as connection:
        assert load_names(connection, now).field("shade.snails") == "dark.snails"


def test_nothing_is_asked_where_a_count_only_came_or_went(study: Study) -> None:
    fewer = replace(study, counts=study.counts[:1])
    assert asked(fewer, study) == []
    assert asked(study, fewer) == []


def test_who_said_it_is_erased_with_the_person(changed: Study) -> None:
    say(changed, "snails", "shells")
    erase(changed, "Ada Bell")
    with Record.open(changed) as record, record.reading() as connection:
        (answer,) = load_names(connection, changed).answers
    assert answer.by == "forgotten person"
    assert columns(changed)[0] == ("7", "3")
    assert verify(changed).problems == ()
