"""Ask about photos of one site and date that contradict each other."""

from __future__ import annotations

import re
from dataclasses import dataclass

from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.states import FieldState
from sheet_reader.review import screen
from sheet_reader.review.answers import Refusal, understand
from sheet_reader.review.cards import PhotosCard, SheetSeen, which_is_it
from sheet_reader.review.decisions import Reply, other_place, same_sheet, set_aside
from sheet_reader.review.talk import Move, Said, Talk, titled

DATE, SITE, ASIDE = "d", "o", "a"
TEXT_LINES = REVIEW.sum_lines
MOST_FIELDS = REVIEW.most_fields
"""So many of the differing fields are listed; the rest are counted."""
HEADS_ROWS, SHEET_ROWS = REVIEW.least_rows, REVIEW.sheet_rows
"""Rows for the dates beside whole sheets; sheets in blocks tell nothing in fewer rows than these,
and then the dates have them (a key shows the sheets).
"""


@dataclass
class PhotosQuestion:
    """The photos and the talk about them; ``before`` is the answer given earlier, if any."""

    talk: Talk
    card: PhotosCard
    before: Reply | None = None

    def ask(self, position: int, total: int) -> Reply | Move:
        """Show the question and talk until there is an answer or a move."""
        self._show(position, total)
        while True:
            heard = self.talk.ask(self._keys(), self._about)
            if not isinstance(heard, Said):
                return heard
            reply = self._understood(heard.text)
            if reply is not None:
                return reply

    @property
    def _about(self) -> list[FieldState]:
        return [(sheet.date or sheet.site or sheet.fields[0]).reading for sheet in self.card.sheets]

    def _keys(self) -> list[tuple[str, str]]:
        count = len(self.card.sheets)
        two = [(DATE, "one has another date"), (SITE, "another site"), (ASIDE, "set one aside")]
        if self.before is None and self.card.unlike:
            return [*two, (f"1-{count}", "same sheet, this one serves")]
        offered = f"keep {self.before.said}" if self.before else "same sheet, 1 serves"
        numbers = "2" if count == 2 else f"2-{count}"
        return [("Enter", offered), (numbers, "same sheet, this one serves"), *two]

    def _show(self, position: int, total: int) -> None:
        talk, out = self.talk, self.talk.console
        out.print()
        count = len(self.card.sheets)
        title = titled(f"{count} photos of one site and date say different things")
        out.print(screen.head(title, self.card.place, position, total))
        listed = self._differing()
        rows = screen.rows_left(out, TEXT_LINES + len(listed))
        dates = talk.beside([talk.desk.field(reading).close for reading in self._about])
        fine = talk.mode == "graphics" or rows >= SHEET_ROWS
        drawn = talk.show(dates, HEADS_ROWS if fine else rows)
        if fine:
            sheets = [talk.desk.sheet(sheet.place) for sheet in self.card.sheets]
            drawn |= talk.show(talk.beside(sheets), rows - HEADS_ROWS)
        if not drawn:
            out.print(screen.no_picture(talk.mode))
        for line in listed:
            out.print(line)
        talk.say(which_is_it(self.card))
        if self.before is not None:
            out.print(f"Answered before: {self.before.said}")

    def _differing(self) -> list[str]:
        """The photos by number, and what they say of the fields in which they differ."""
        sheets = self.card.sheets
        named = " · ".join(f"{n} {screen.photo_name(s.place)}" for n, s in enumerate(sheets, 1))
        names = list(dict.fromkeys(f.spec.label for sheet in sheets for f in sheet.fields))
        lines = [named]
        for label in names[:MOST_FIELDS]:
            said = [_said(sheet, label) for sheet in sheets]
            lines.append(f"  {label}: {' or '.join(said)}")
        if len(names) > MOST_FIELDS:
            lines.append(f"  … and {len(names) - MOST_FIELDS} more fields")
        return lines

    def _understood(self, typed: str) -> Reply | Move | None:
        if typed == "" and self.before is not None:
            return self.before
        if typed == "" and self.card.unlike:
            self.talk.say(
                f"they differ in too much to take them for one sheet unasked: {DATE} or {SITE} if "
                "one has another date or site, or the number of the photo that serves."
            )
            return None
        if typed == "" or typed.isdigit():
            return self._same(int(typed) if typed else 1)
        match = re.fullmatch(rf"([{DATE}{SITE}{ASIDE}])(?: *([0-9])\b)?(?: +(.+))?", typed)
        if match is None:
            self.talk.say(
                "Enter if these are photos of one sheet; "
                f"{DATE}, {SITE} or {ASIDE} if they are not. {screen.WHOLE_PHOTO} shows both."
            )
            return None
        return self._other(match[1], match[2], match[3])

    def _same(self, number: int) -> Reply | None:
        if not 1 <= number <= len(self.card.sheets):
            self.talk.say(f"there are {len(self.card.sheets)} photos here.")
            return None
        return None if self.talk.unseen() else same_sheet(self.card, number - 1)

    def _other(self, key: str, number: str | None, typed: str | None) -> Reply | Move | None:
        """One of the sheets has another date or site, or counts nowhere."""
        count = len(self.card.sheets)
        if number is None:
            question = f"Which of the photos, 1 to {count}?"
            heard = self.talk.ask([(f"1-{count}", "this one")], self._about, question)
            if not isinstance(heard, Said):
                return None if heard == "back" else heard
            number, _, rest = heard.text.partition(" ")
            typed = rest.strip() or None
        if not number.isdigit() or not 1 <= int(number) <= count:
            self.talk.say(f"there are {count} photos here.")
            return None
        sheet = self.card.sheets[int(number) - 1]
        return set_aside(sheet.place) if key == ASIDE else self._place(key, sheet, typed)

    def _place(self, key: str, sheet: SheetSeen, typed: str | None) -> Reply | Move | None:
        talk = self.talk
        kind = "date" if key == DATE else "site"
        if typed is None:
            stated = sheet.date if key == DATE else sheet.site
            if stated is not None:
                talk.show(talk.desk.field(stated.reading).close, 6)
            what = "Its date (the day alone will do)" if key == DATE else "Its site number"
            about = [(stated or sheet.fields[0]).reading]
            heard = talk.ask([("digits", "what is right")], about, f"{what}?")
            if not isinstance(heard, Said):
                return None if heard == "back" else heard
            typed = heard.text
        spec = next(s for s in talk.study.fields if s.kind == kind)
        value = understand(typed, spec, talk.study, talk.today, sheet.place.visit_date or "")
        if isinstance(value, Refusal):
            near = ", ".join(f"{site.number} {site.label}" for site in value.near)
            talk.say(f"{value.message}{'; the nearest are ' + near if near else ''}.")
            return None
        return self._moved(key, sheet, value.text, value.doubt)

    def _moved(self, key: str, sheet: SheetSeen, text: str, doubt: str) -> Reply | Move | None:
        now = sheet.place.visit_date if key == DATE else sheet.place.site
        if text == now:
            self.talk.say(f"that is what it has now: {text}.")
            return None
        if doubt:
            self.talk.say(f"{doubt}.")
            keys = [("Enter", f"keep {text}"), ("-", "ask again")]
            heard = self.talk.ask(keys, [sheet.fields[0].reading])
            if heard != Said(""):
                return heard if heard == "stop" else None
        return other_place(sheet, "date" if key == DATE else "site", text)


def _said(sheet: SheetSeen, label: str) -> str:
    found = next((field for field in sheet.fields if field.spec.label == label), None)
    if found is None:
        return "not on it"
    value = "nothing" if found.value is None else found.value
    return value if found.sure else f"{value} (doubtful)"
