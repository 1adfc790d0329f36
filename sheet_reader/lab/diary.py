"""What is known of a simulated site's hand after each sheet, as if a person had answered."""

from __future__ import annotations

from sheet_reader.decode.hand import FormerSheet, former_sheet, parts_of
from sheet_reader.decode.pages import PageReading
from sheet_reader.decode.posteriors import Group
from sheet_reader.numbers import DECODE
from sheet_reader.simulate.truth import SheetTruth
from sheet_reader.study.study import Study

SETTLED = DECODE.settled


class Diary:
    """A site's sheets so far. ``memory`` is what the next one may be read with."""

    def __init__(self) -> None:
        self.memory: dict[str, list[FormerSheet]] = {}

    def keep(self, study: Study, page: PageReading, sheet: SheetTruth) -> None:
        """Keep the digits of a sheet just read: of fields that were surely read, as they were read,
        right or wrong; of those that were asked about, as they are in truth.
        """
        truth, specs = {f.field: f.value for f in sheet.fields}, {f.name: f for f in study.fields}
        settled: dict[Group, str] = {}
        for field in page.fields:
            asked = field.status == "flagged"
            value = truth.get(field.field) if asked else field.value
            if value is not None and (asked or field.confidence >= SETTLED):
                settled |= parts_of(specs[field.field], value)
        if sheet.site is None or sheet.visit_date is None or page.evidence is None:
            return
        found = former_sheet(sheet.visit_date, page.evidence, settled)
        self.memory.setdefault(sheet.site, []).append(found)
