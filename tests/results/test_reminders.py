"""Which visits lack a page."""

from pathlib import Path

from sheet_reader.record.model import VisitRow
from sheet_reader.results.reminders import missing_pages
from sheet_reader.study.reader import read_study

STUDY = read_study(Path(__file__).parents[2] / "samples" / "bean_tips")
SITE = STUDY.sites[0].number


def test_a_visit_that_lacks_a_page_is_named() -> None:
    visits = [
        VisitRow(SITE, "2026-05-20", (1, 2), (), {}, {}, 0),
        VisitRow(SITE, "2026-05-27", (2,), (), {}, {}, 0),
        VisitRow(SITE, "2026-06-03", (), (), {}, {}, 0),
        VisitRow("", "2026-05-27", (1,), (), {}, {}, 1),
    ]
    assert [str(missing) for missing in missing_pages(visits, 2)] == [
        f"site {SITE} on 2026-05-27 lacks page 1",
        f"site {SITE} on 2026-06-03 lacks pages 1 and 2",
    ]
    assert missing_pages(visits[:2], 1)[0].pages == (1,)
