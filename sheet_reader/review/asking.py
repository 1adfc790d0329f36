"""The questions of a review as they are put at a terminal, a class for each kind of card."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from rich.console import Group, RenderableType
from rich.text import Text

from sheet_reader.answers.hearing import PersonSaid
from sheet_reader.answers.questions import (
    AlikeCard,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SumCard,
)
from sheet_reader.answers.typed import place_typed
from sheet_reader.intake.files import one_line
from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.states import FieldState
from sheet_reader.review.face import photo_name
from sheet_reader.review.terminal import (
    NOTHING,
    SAYS_NONE,
    UNREADABLE,
    WHOLE_PHOTO,
    Keys,
    Move,
    Question,
    Terminal,
    Typed,
)
from sheet_reader.study.kinds import Refusal

NOT_LISTED, OTHER_SHEET, ANOTHER_PHOTO = "l", "d", "p"
OTHER_PLACE = {"d": "date", "o": "site", "a": "aside"}
"""Keys by which one of several photos shows another sheet."""


@dataclass
class FieldQuestion(Question[FieldCard]):
    """A doubtful value, a site, a date, or what two photos disagree about."""

    @property
    def _about(self) -> list[FieldState]:
        return [self.card.reading, *(other.reading for other in self.card.others)]

    def _show(self) -> None:
        self._show_pictures()
        out, shown = self.terminal.console, self.face
        if shown["blind"]:
            out.print("Type what you see; what the reader made of it comes after.")
        elif (read := shown["read"])["value"] is None:
            out.print("Read: no value.")
        else:
            rest = f", or else {read['other']} ({read['rest']})" if read["other"] else ""
            value = (read["value"], "bold")
            out.print(Text.assemble("Read: ", value, f" ({read['chance']}){rest}"))
        if shown["why"]:
            out.print(Text(f"Why:  {shown['why']}"))
        if shown["hint"]:
            out.print(Text(shown["hint"]))

    def _show_pictures(self) -> None:
        terminal, others = self.terminal, self.card.others
        rows = terminal.rows_left(REVIEW.field_lines)
        each = rows if not others else max(REVIEW.least_rows, rows // (1 + len(others)) - 1)
        captions = [f"{photo_name(self.card.reading)}:"] if others else [""]
        captions += [f"{photo_name(o.reading)} says {o.value or 'nothing'}:" for o in others]
        for reading, caption in zip(self._about, captions, strict=True):
            drawn = terminal.picture(terminal.source.field(reading.reading_id), each)
            if caption:
                terminal.console.print(caption)
            terminal.console.print(terminal.no_picture() if drawn is None else drawn)

    def _other_keys(self) -> Keys:
        kind = self.card.spec.kind
        more = [(NOT_LISTED, "not in the list")] if kind.is_listed and not self.how.audit else []
        more += [(OTHER_SHEET, "another sheet")] if self.card.photos is not None else []
        return [*kind.answers, *more, *SAYS_NONE]

    def _said(self, typed: str) -> Typed:
        if typed == OTHER_SHEET and self.card.photos is not None:
            how = replace(self.how, before=None)
            return PhotosQuestion(self.terminal, self.card.photos, how).ask(*self.at)
        acts = {"": "take", NOTHING: "nothing", UNREADABLE: "unreadable"}
        if self.card.spec.kind.is_listed and not self.how.audit:
            acts[NOT_LISTED] = "unlisted"
        return PersonSaid(acts.get(typed, "value"), typed)

    def _refused(self, refusal: Refusal, said: PersonSaid) -> None:
        super()._refused(refusal, said)
        if self.card.spec.kind.is_listed and said.text.isdigit():
            unlisted = f"{NOT_LISTED} if it is not in the list: the sheet is then set aside"
            rest = f"{UNREADABLE} if none fits" if self.how.audit else unlisted
            self.terminal.say(f"type its number, or letters to search the names; {rest}")


@dataclass
class SeveralQuestion(Question[SumCard | AlikeCard]):
    """Fields shown by number: all as shown, or what some of them say instead."""

    @property
    def _about(self) -> list[FieldState]:
        readings = [stated.reading for stated in self.card.fields]
        return readings[: REVIEW.most_alike if isinstance(self.card, AlikeCard) else 1]

    def _show(self) -> None:
        terminal, width = self.terminal, self.terminal.console.width
        rows, seen, missing = rows_each(terminal, self.card), terminal.seen, False
        cells: list[RenderableType] = []
        for number, part in enumerate(self.face["parts"], start=1):
            drawn = terminal.picture(terminal.source.field(part["reading"]), rows, width // 2 - 2)
            missing |= drawn is None
            label = ("total: " if part["total"] else "") + part["label"]
            shown = (f"{number} ", "bold cyan"), f"{label} ", (f"= {part['shown']}", "bold")
            why = [Text(one_line(f"  {part['why']}", 80), style="dim")] if part["why"] else []
            cells.append(Group(Text.assemble(*shown), *why, *([] if drawn is None else [drawn])))
        if missing and isinstance(self.card, AlikeCard):  # each must be seen
            terminal.seen = seen
        terminal.in_columns(cells)
        terminal.say(self.face["why"])

    def _other_keys(self) -> Keys:
        return [(f"1-{len(self.card.fields)}", "this one says something else")]

    def _said(self, typed: str) -> Typed:
        fields: dict[str, str] = {}
        if typed == "":
            return PersonSaid("take")
        for part in re.split(r" *[,;] *", typed.strip(" ,;")):
            match = re.fullmatch(r"([0-9]+)(?:[ =:]+(\S+))?", part)
            place = None if match is None else place_typed(match[1], len(self.card.fields))
            if match is None or place is None:
                self.terminal.say(
                    f"type the number of the field that was misread (1 to {len(self.card.fields)}) "
                    f"and what it says, e.g. 2 14, or 2 14, 3 5 for two; 2 {NOTHING} or "
                    f"2 {UNREADABLE}"
                )
                return None
            says = match[2] or self._typed(place)
            if says in (Move.BACK, ""):
                return None
            if isinstance(says, Move):
                return says
            fields[str(place)] = says
        return PersonSaid("sum", fields=fields)

    def _typed(self, place: int) -> str | Move:
        """What a field says, asked for by itself."""
        stated = self.card.fields[place]
        self.terminal.show([self.terminal.source.field(stated.reading.reading_id).close], 8)
        keys = [("digits", "what it says"), *SAYS_NONE]
        question = f"{stated.spec.label}: what does it say?"
        return self.terminal.ask(keys, [stated.reading], question)


def rows_each(terminal: Terminal, card: SumCard | AlikeCard) -> int:
    """Terminal rows for the picture of each of several fields, two side by side."""
    lines = (len(card.fields) + 1) // 2
    text = REVIEW.sum_lines + lines
    if isinstance(card, AlikeCard):
        text = REVIEW.alike_lines + REVIEW.cell_lines * lines
    return max(int(REVIEW.least_rows), terminal.rows_left(text) // lines)


@dataclass
class OutsideQuestion(Question[OutsideCard]):
    """A sheet that lies partly outside the picture."""

    def _show(self) -> None:
        terminal, listed = self.terminal, ", ".join(self.face["fields"])
        lines = len(listed) // max(20, terminal.console.width) + 1
        sheet = terminal.source.sheet(self.card.place.page_instance_id)
        if not terminal.show([sheet], terminal.rows_left(REVIEW.field_lines + lines)):
            terminal.console.print(terminal.no_picture())
        terminal.console.print(listed, highlight=False)
        terminal.say(self.face["why"])

    def _other_keys(self) -> Keys:
        return [(UNREADABLE, "go on without")]

    def _said(self, typed: str) -> PersonSaid:
        acts = {"": "take", ANOTHER_PHOTO: "another", UNREADABLE: "unreadable"}
        return PersonSaid(acts.get(typed, "value"), typed)


@dataclass
class PhotosQuestion(Question[PhotosCard]):
    """Photos of one site and date that contradict each other."""

    @property
    def _about(self) -> list[FieldState]:
        return [(sheet.date or sheet.site or sheet.fields[0]).reading for sheet in self.card.sheets]

    def _show(self) -> None:
        """The dates beside each other, the whole sheets where there is room (in blocks they tell
        nothing in few rows), and what the photos say of the fields in which they differ.
        """
        terminal, labels = self.terminal, self.face["labels"]
        names = [photo_name(sheet.place) for sheet in self.card.sheets]
        lines = [" · ".join(f"{number} {name}" for number, name in enumerate(names, 1))]
        for row, label in enumerate(labels[: REVIEW.most_fields]):
            said = " or ".join(sheet["values"][row] for sheet in self.face["sheets"])
            lines.append(f"  {label}: {said}")
        if len(labels) > REVIEW.most_fields:
            lines.append(f"  … and {len(labels) - REVIEW.most_fields} more fields")
        rows = terminal.rows_left(REVIEW.sum_lines + len(lines))
        fine = terminal.mode == "graphics" or rows >= REVIEW.sheet_rows
        dates = [terminal.source.field(reading.reading_id).close for reading in self._about]
        drawn = terminal.show(dates, REVIEW.least_rows if fine else rows)
        if fine:
            sheets = [terminal.source.sheet(sheet.page_instance_id) for sheet in self.card.sheets]
            drawn |= terminal.show(sheets, rows - REVIEW.least_rows)
        if not drawn:
            terminal.console.print(terminal.no_picture())
        for line in lines:
            terminal.console.print(line)
        terminal.say(self.face["why"])

    def _other_keys(self) -> Keys:
        count, first = len(self.card.sheets), 2 if self._offered() else 1
        numbers = str(count) if first == count else f"{first}-{count}"
        other = ("one has another date", "another site", "set one aside")
        same = (numbers, "same sheet, this one serves")
        return [same, *zip(OTHER_PLACE, other, strict=True)]

    def _said(self, typed: str) -> Typed:
        if typed == "":
            return PersonSaid("take")
        count = len(self.card.sheets)
        if typed.isdecimal():
            place = place_typed(typed, count)
            return PersonSaid("same", sheet=-1 if place is None else place)
        keys = "".join(OTHER_PLACE)
        match = re.fullmatch(rf"([{keys}])(?: *([0-9])\b)?(?: +(.+))?", typed)
        if match is None:
            keys, enter = ", ".join(OTHER_PLACE), "Enter or " if self._offered() else ""
            self.terminal.say(
                f"{enter}a number if these are photos of one sheet; {keys} if they are not. "
                f"{WHOLE_PHOTO} shows both"
            )
            return None
        act, number, text = OTHER_PLACE[match[1]], match[2], match[3]
        if number is None:
            which = f"Which of the photos, 1 to {count}?"
            heard = self.terminal.ask([(f"1-{count}", "this one")], self._about, which)
            if isinstance(heard, Move):
                return None if heard is Move.BACK else heard
            number, _, rest = heard.partition(" ")
            text = rest.strip() or None
        place = place_typed(number, count)
        if place is None:
            self.terminal.say(f"there are {count} photos here")
            return None
        if text is None and act != "aside":
            heard = self._place_typed(act, place)
            if isinstance(heard, Move):
                return None if heard is Move.BACK else heard
            text = heard
        return PersonSaid(act, text or "", place)

    def _place_typed(self, act: str, number: int) -> str | Move:
        sheet = self.card.sheets[number]
        stated = sheet.date if act == "date" else sheet.site
        if stated is not None:
            self.terminal.show([self.terminal.source.field(stated.reading.reading_id).close], 6)
        what = "Its date (the day alone will do)?" if act == "date" else "Its site number?"
        about = [(stated or sheet.fields[0]).reading]
        return self.terminal.ask([("digits", "what is right")], about, what)


QUESTIONS: Mapping[type, type[Question]] = {  # type: ignore[type-arg]
    FieldCard: FieldQuestion,
    SumCard: SeveralQuestion,
    AlikeCard: SeveralQuestion,
    OutsideCard: OutsideQuestion,
    PhotosCard: PhotosQuestion,
}
