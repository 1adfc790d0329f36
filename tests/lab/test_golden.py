"""The golden run: what is compared, and that no difference is lost."""

from __future__ import annotations

import io
import json
import sys
import zipfile
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from sheet_reader.lab.golden import main
from sheet_reader.lab.golden_answers import MOST_PROMPTS, Answers
from sheet_reader.lab.golden_files import (
    SHOWN,
    SUMS,
    canonical,
    differences,
    drawn_by_lot,
    unpacked,
    without_lots,
)
from sheet_reader.lab.golden_tree import CLOCK, Tree

READINGS = """\
photo,pdf_page,sheet,page,field,value,confidence,status,reason,reason_code,read_as,decided
photo-0002,1,1007,1,helpers,3,0.71,flagged,the box could be 3 or 5,box-uncertain,,no
photo-0001,1,1007,1,site,1007,0.99,accepted,,,,no
"""
PHOTOS = """\
photo,fate,sheet,site,visit_date,reason_code
photo-0001,read,1,1007,2026-06-03,
"""
KEYS = "b back · r row and sheet · w whole photo · s stop · ? help\n> "


@pytest.fixture
def results(tmp_path: Path) -> tuple[Path, Path]:
    """Two results that are the same."""
    pair = tmp_path / "one", tmp_path / "two"
    for folder in pair:
        (folder / "printed").mkdir(parents=True)
        (folder / "printed" / "read.txt").write_text("12 accepted\n3 flagged\n", encoding="utf-8")
        (folder / "sheet.png").write_bytes(b"\x89PNG\xff\x00")
    return pair


def test_the_same_results_do_not_differ(results: tuple[Path, Path]) -> None:
    (results[1] / SUMS).write_text("of all files\n", encoding="utf-8")
    answer = CliRunner().invoke(main, ["compare", *map(str, results)])
    assert (answer.exit_code, answer.output) == (0, "No difference.\n")


def test_a_planted_difference_is_found(results: tuple[Path, Path]) -> None:
    (results[1] / "printed" / "read.txt").write_text("12 accepted\n4 flagged\n", encoding="utf-8")
    answer = CliRunner().invoke(main, ["compare", *map(str, results)])
    assert answer.exit_code == 1
    assert answer.output.splitlines() == [
        "printed/read.txt: differs", "  @@ -2 +2 @@", "  -3 flagged", "  +4 flagged",
    ]  # fmt: skip


def test_a_byte_of_a_picture_and_a_missing_file_are_found(results: tuple[Path, Path]) -> None:
    (results[1] / "sheet.png").write_bytes(b"\x89PNG\xff\x01")
    (results[0] / "printed" / "read.txt").unlink()
    found = differences(*results)
    assert found[0].startswith("printed/read.txt: missing in ")
    assert found[0].endswith("one/")
    assert found[1:] == ["sheet.png: differs", "  6 and 6 bytes, no text"]


def test_a_change_of_line_ends_alone_is_a_difference(results: tuple[Path, Path]) -> None:
    (results[1] / "printed" / "read.txt").write_bytes(b"12 accepted\r\n3 flagged\r\n")
    assert differences(*results)[0] == "printed/read.txt: differs"


def test_of_many_differences_the_first_are_shown_and_the_rest_counted(
    results: tuple[Path, Path],
) -> None:
    for folder, word in zip(results, ("old", "new"), strict=True):
        text = "\n".join(f"{word} {number}" for number in range(50))
        (folder / "many.txt").write_text(text, encoding="utf-8")
    found = differences(*results)
    assert len(found) == 1 + SHOWN + 1
    assert found[-1] == f"  … and {101 - SHOWN} lines more"


def test_the_order_of_lines_and_columns_does_not_matter_but_values_do() -> None:
    lines = READINGS.splitlines()
    names = lines[0].split(",")
    turned = [",".join(reversed(line.split(","))) for line in [lines[0], lines[2], lines[1]]]
    assert names != turned[0].split(",")
    same = canonical("\n".join(turned), PHOTOS)
    assert same == canonical(READINGS, PHOTOS)
    assert len(same) == 3
    assert canonical(READINGS.replace("0.71", "0.72"), PHOTOS) != same
    for value, other in ((",read,", ",waiting,"), ("1007,2026", "1011,2026"), ("06-03,", "06-04,"),
                         ("03,\n", "03,no-digit\n"), ("read,1,", "read,2,")):  # fmt: skip
        assert canonical(READINGS, PHOTOS.replace(value, other)) != same, value
    assert json.loads(same[0]) == [
        ["photo-0001", "1", "1007", "1", "site"],
        {"value": "1007", "confidence": "0.99", "status": "accepted", "reason": "",
         "reason_code": "", "read_as": "", "decided": "no"},
    ]  # fmt: skip


def test_what_is_drawn_by_lot_is_left_out_and_nothing_beside_it() -> None:
    readings = "photo,visit_id\nphoto-0001,bean:aa\nphoto-0002,bean:bb\n"
    photos = "photo,fate\nphoto-0001,read\nphoto-0002,typed in\n"
    lots = drawn_by_lot(readings, photos)
    assert lots == {"bean:bb"}
    data = b"bean:aa,bean:bb,sha256:" + 64 * b"c"
    assert without_lots(data, lots) == b"bean:aa,BY-LOT,sha256:BY-LOT"
    assert without_lots(data, set()) == data


def test_an_archive_is_taken_apart() -> None:
    packed = []
    for day in (1, 2):
        stream = io.BytesIO()
        with zipfile.ZipFile(stream, "w") as archive:
            for name in ("b/c.txt", "a.txt"):
                archive.writestr(zipfile.ZipInfo(name, (2026, 6, day, 0, 0, 0)), name.encode())
        packed.append(stream.getvalue())
    assert packed[0] != packed[1]
    assert [*unpacked("t.zip", packed[0])] == [*unpacked("t.zip", packed[1])]
    assert [*unpacked("t.zip", packed[0])] == [
        ("t.zip.members/a.txt", b"a.txt"), ("t.zip.members/b/c.txt", b"b/c.txt"),
    ]  # fmt: skip


def test_a_parquet_table_is_compared_by_its_schema_and_lines() -> None:
    def packed(**columns: list[int | None]) -> bytes:
        stream = io.BytesIO()
        pd.DataFrame(columns, dtype="Int64").to_parquet(stream)
        return stream.getvalue()

    [(name, text)] = unpacked("rows.parquet", packed(a=[1, None]))
    assert name == "rows.parquet.txt"
    assert b"a: int64" in text
    assert text.splitlines()[-2:] == [b'{"a": 1}', b'{"a": null}']
    assert text != next(unpacked("rows.parquet", packed(a=[1, 2])))[1]


def test_a_person_answers_the_same_question_alike_and_gives_up_what_is_refused() -> None:
    question = (
        "\n3 of 9 ───\nHelpers   helpers\nsite 1007 · visit 2026-06-03 · sheet 1007, page 1\n"
        f"Enter 3 is right · digits what it says · n nothing written · x can't be read\n{KEYS}"
    )
    answers, again = Answers(["1007"]), Answers(["1007"])
    typed = [answers(question) for _ in range(20)]
    assert typed == [again(question.replace("3 of 9", "4 of 8")) for _ in range(20)]
    assert typed[10] == ""
    assert typed[-1] == "s"
    for _ in range(MOST_PROMPTS):
        answers.asked.clear()
        answers(question)
    answers.asked.clear()
    assert answers(question) == "s", "no run goes on for ever"
    other = question.replace("Enter 3 is right · ", "")
    answers = Answers(["1007"])
    assert [answers(other) for _ in range(11)][-1] == "x"


def test_of_photos_that_say_different_things_one_is_named_in_the_end() -> None:
    question = (
        "\n3 of 9 ───\n2 photos of one site and date say different things\nsite 1007 · visit x\n"
        "d one has another date · o another site · a set one aside · 1-2 same sheet, this one "
        f"serves\n{KEYS}"
    )
    answers = Answers(["1007"])
    assert [answers(question) for _ in range(8)][-1] == "1"


def test_commands_see_one_moment_and_prompts_get_their_answers(tmp_path: Path) -> None:
    """A stand-in for the command, beside an interpreter: what a tree's own would do."""
    (tmp_path / "bin").mkdir()
    (tmp_path / "python").mkdir()
    (tmp_path / "python" / "sheet-reader").write_text(
        f"#!{sys.executable}\n"
        "import sys\n"
        "own = {**globals(), '__name__': 'sheet_reader.a'}\n"
        "exec('from datetime import datetime, timedelta, timezone', own)\n"
        "print(own['datetime'].now().isoformat(), flush=True)\n"
        "print(own['datetime'].now(own['timezone'](own['timedelta'](hours=2))).isoformat())\n"
        "from datetime import datetime\n"
        "print('others see the true moment:', datetime.now() != own['datetime'].now())\n"
        "print('\\n> ', end='', flush=True)\n"
        "print('heard', input())\n"
        "print(sys.argv[0], 'read in 3.2 s')\n"
        "sys.exit(4)\n",
        encoding="utf-8",
    )  # fmt: skip
    (tmp_path / "python" / "sheet-reader").chmod(0o755)
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    tree = Tree(tmp_path / "python" / "python", scratch, tmp_path / "out")
    tree.run("review", "beans", answer=lambda _text: "14")
    assert (tmp_path / "out" / "printed" / "001_review_beans.txt").read_text("utf-8") == (
        "$ sheet-reader review beans\n2026-07-01T12:00:00\n2026-07-01T14:00:00+02:00\n"
        "others see the true moment: True\n\n> 14\nheard 14\n"
        "SCRATCH/bin/sheet-reader read in so long\n\nexit code 4\n"
    )
    assert "2026, 7, 1, 12" in CLOCK


def test_all_that_a_command_wrote_is_kept_but_what_is_drawn_by_lot(tmp_path: Path) -> None:
    (tmp_path / "sheet-reader").touch()
    (tmp_path / "scratch" / "tables" / "more").mkdir(parents=True)
    tree = Tree(tmp_path / "python", tmp_path / "scratch", tmp_path / "out")
    tree.lots = {"bean:bb"}
    (tree.folder / "tables" / "rows.csv").write_bytes(b"bean:aa,bean:bb\n")
    (tree.folder / "tables" / "more" / "x.png").write_bytes(b"\xff")
    tree.take("tables", "kept")
    tree.take("tables/rows.csv", "rows.csv")
    kept = {f.relative_to(tree.out).as_posix(): f.read_bytes() for f in tree.out.rglob("*.*")}
    line = b"bean:aa,BY-LOT\n"
    assert kept == {"kept/rows.csv": line, "kept/more/x.png": b"\xff", "rows.csv": line}
