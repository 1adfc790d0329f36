"""Audit, backup, verify and erase through the command line."""

import csv
import tarfile
from pathlib import Path
from typing import Any

import pytest

from sheet_reader.cli.review import of_plan
from sheet_reader.decode.audits import sampling_plan
from sheet_reader.decode.error_share import ObservedError
from sheet_reader.record.history.rows import accepted_sample


def accepted_values(folder: Path) -> dict[str, str]:
    with (folder / "results" / "readings.csv").open(encoding="utf-8", newline="") as file:
        return {line["field"]: line["value"] for line in csv.DictReader(file)}


@pytest.fixture
def read_desk(bean_desk: Any) -> Any:
    bean_desk.put("a.png")
    bean_desk.done("read")
    return bean_desk


def test_an_audit_hides_the_reading_until_the_answer_is_in(read_desk: Any) -> None:
    text = read_desk.done("audit", "--sample", "1", "--seed", "3", typed="s\n")
    assert "1 field drawn at random from 16 accepted ones" in text
    assert "Read:" not in text
    assert "Nothing was looked at." in text


def test_an_audit_states_its_result_exactly(read_desk: Any) -> None:
    questions = read_desk.done("audit", "--sample", "3", "--seed", "3", typed="s\n")
    assert "1 of 3" in questions
    answers = answers_for(read_desk, seed=3, count=3)
    text = read_desk.done("audit", "--sample", "3", "--seed", "3", typed="\n".join(answers) + "\n")
    # One-sided Clopper–Pearson bound for 0 of 3: 1 - 0.05 ** (1 / 3) = 0.6316 (closed form).
    assert "0 of 3 wrong: at most 64 % with 95 % confidence" in text
    assert "All audits so far: 0 of 3 wrong" in text


def answers_for(desk: Any, seed: int, count: int) -> list[str]:
    """What the pictures of the sample show."""
    import numpy as np

    from sheet_reader.record.store.store import Record
    from sheet_reader.study.reader import read_study

    with Record.open(read_study(desk.folder)) as record:
        chosen = accepted_sample(record.state(), count, np.random.default_rng(seed))
    return [waiting.read_value or "" for waiting in chosen]


def test_a_wrong_reading_is_shown_after_the_answer_and_corrected(read_desk: Any) -> None:
    (value,) = answers_for(read_desk, seed=5, count=1)
    other = "2026-05-21" if "-" in value else "7"
    typed = f"{other}\n"
    text = read_desk.done("audit", "--sample", "1", "--seed", "5", "--as", "Kim", typed=typed)
    assert f"your answer {other} is kept" in " ".join(text.split())
    assert "1 of 1 wrong" in text
    read_desk.done("export")
    assert other in accepted_values(read_desk.folder).values()


def test_the_whole_plan_is_named_when_it_is_done(read_desk: Any) -> None:
    answers = answers_for(read_desk, seed=1, count=16)
    text = read_desk.done("audit", "--seed", "1", typed="\n".join(answers) + "\n")
    assert "16 fields drawn at random from 16 accepted ones" in text
    assert "Plan ISO 2859-1, letter" in text
    assert "passed" not in text
    assert "Every accepted field was looked at." in text


def test_a_sample_without_an_error_does_not_show_the_limit() -> None:
    """0 of 80 wrong comes in 45 of 100 lots with 1 % wrong: it is no proof of 0.15 %."""
    plan = sampling_plan(1000, 0.15)
    assert (plan.sample, plan.accept) == (80, 0)
    said = of_plan(plan, ObservedError(0, 80))
    assert "does not contradict 0.15 %, nor does it show it" in said
    assert "0 wrong of 1,000 would" in said
    assert "speaks against 0.15 %" in of_plan(plan, ObservedError(1, 80))
    assert "It shows 0.15 %" in of_plan(plan, ObservedError(0, 2_000))


def test_nothing_to_audit(bean_desk: Any) -> None:
    assert "Too few accepted fields" in bean_desk.done("audit")


def test_backup_holds_the_record_and_the_photos(read_desk: Any, tmp_path: Path) -> None:
    file = tmp_path / "copy.tar"
    assert "1 photo" in read_desk.done("backup", file)
    with tarfile.open(file) as archive:
        names = archive.getnames()
    assert "record.sqlite" in names
    assert "study.toml" in names


def test_backup_without_a_record(bean_desk: Any, tmp_path: Path) -> None:
    result = bean_desk.run("backup", tmp_path / "copy.tar")
    assert result.exit_code == 2
    assert "there is no record yet" in result.stderr


def test_verify_finds_a_changed_photo(read_desk: Any) -> None:
    assert "all sound" in read_desk.done("verify")
    (original,) = [p for p in (read_desk.folder / "originals").rglob("*") if p.is_file()]
    original.chmod(0o644)
    original.write_bytes(original.read_bytes() + b"x")
    result = read_desk.run("verify")
    assert result.exit_code == 4
    assert "fault: a.png: its original was changed" in result.stdout


@pytest.mark.parametrize("command", ["verify", "erase"])
def test_verify_and_erase_make_no_record(bean_desk: Any, command: str) -> None:
    more = ["--contact", "kim@example.org", "--yes"] if command == "erase" else []
    result = bean_desk.run(command, *more)
    assert result.exit_code == 2
    assert "no record yet" in result.stderr
    assert not (bean_desk.folder / "record.sqlite").exists()


def test_erase_asks_and_keeps_the_counts(bean_desk: Any) -> None:
    bean_desk.put("sent by Kim Roe.png")
    bean_desk.done("read")
    stopped = bean_desk.run("erase", "--contact", "Kim Roe", typed="n\n")
    assert stopped.exit_code == 1
    result = bean_desk.run("erase", "--contact", "Kim Roe", typed="y\n")
    assert result.exit_code == 1  # the layout is unknown: who counted was not found
    assert "0 photos made anonymous" in result.stdout
    assert "not clean: photo-0001: it is not known where who counted stands" in result.stdout
    bean_desk.done("export")
    written = (bean_desk.folder / "results" / "readings.csv").read_text(encoding="utf-8")
    assert "Kim" not in written
    assert accepted_values(bean_desk.folder)["pinched.plants"] == "14"


def test_the_promise_is_refused_when_audits_find_errors(read_desk: Any) -> None:
    """Half of the sample typed otherwise: far more wrong than the study accepts."""
    from sheet_reader.decode.promise import NoPromise
    from sheet_reader.reading.opening import promise_of, reader_of
    from sheet_reader.record.store.store import Record
    from sheet_reader.study.reader import read_study

    with Record.open(read_study(read_desk.folder)) as record:
        assert reader_of(record) is None
    answers = answers_for(read_desk, seed=2, count=8)
    typed = "".join("7\n\n" if "-" not in value else f"{value}\n" for value in answers)
    text = read_desk.done("audit", "--sample", "8", "--seed", "2", typed=typed)
    assert "No promise yet" in text
    with Record.open(read_study(read_desk.folder)) as record:
        promise = promise_of(record)
        reader = reader_of(record)
    assert isinstance(promise, NoPromise)
    assert reader is not None
    assert reader.keywords["threshold"] == promise.threshold  # type: ignore[attr-defined]
    assert promise.threshold > 0.9995  # above every reading that proved wrong


def test_read_says_what_it_can_promise(bean_desk: Any) -> None:
    bean_desk.put("a.png")
    text = bean_desk.done("read")
    assert "No promise yet" in text or "of the accepted fields are wrong, with 95" in text


def test_erase_says_what_is_meant_before_it_asks(bean_desk: Any) -> None:
    bean_desk.put("pat doe.png", flagged={"pinched.plants": ("14", 0.7, "unsure")})
    bean_desk.put("kim.png", visit_date="2026-05-27")
    bean_desk.done("read")
    bean_desk.done("review", "--as", "Pat Doe", typed="19\n")
    result = bean_desk.run("erase", "--contact", "Pat Doe", typed="n\n")
    before, _, _ = result.stdout.partition("Erase all this?")
    assert "1 photo: pat doe.png (photo-0002)" in before
    assert "1 answer given as Pat Doe" in before
    bean_desk.done("export", "--file-names")
    table = (bean_desk.folder / "results" / "readings.csv").read_text(encoding="utf-8")
    assert "pat doe.png" in table  # nothing is gone yet
    assert "not: 1 other photo; see in them who counted, and give --photo" in before
    done = bean_desk.run("erase", "--contact", "Pat Doe", "--photo", "photo-0001", "--yes")
    assert "2 notes of who sent what" in done.stdout
    assert "1 answer without a name" in done.stdout


def test_erase_refuses_a_file_ending(bean_desk: Any) -> None:
    bean_desk.put("pat doe.png")
    bean_desk.done("read")
    result = bean_desk.run("erase", "--contact", "png", "--yes")
    assert result.exit_code == 2
    assert "is part of many file names and no person" in result.stderr
