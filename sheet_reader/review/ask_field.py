"""Ask about one field: a doubtful value, a site, a date, or what two photos disagree about."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.answers import Accept, Answer, Illegible, LeftEmpty, Value
from sheet_reader.record.history.states import FieldState
from sheet_reader.review import screen
from sheet_reader.review.answers import Refusal, sites_named, understand
from sheet_reader.review.ask_photos import PhotosQuestion
from sheet_reader.review.cards import FieldCard
from sheet_reader.review.decisions import Reply, field_reply, set_aside
from sheet_reader.review.talk import Move, Said, Talk, titled
from sheet_reader.review.weighing import Look, differ_line, weigh
from sheet_reader.study.model import Site

OTHER_SHEET = "d"
TEXT_LINES = REVIEW.field_lines
"""Lines of a question beside its picture: head, reading, reason, keys, prompt."""


@dataclass
class FieldQuestion:
    """One field and the talk about it; ``before`` is the answer given earlier, if any."""

    talk: Talk
    card: FieldCard
    blind: bool
    audit: bool = False
    before: Reply | None = None
    at: tuple[int, int] = (1, 1)
    looked: Callable[[FieldCard, Answer], None] = lambda _card, _answer: None

    def ask(self, position: int, total: int) -> Reply | Move:
        """Show the question and talk until there is an answer or a move."""
        self.at = position, total
        self._show(position, total)
        while True:
            heard = self.talk.ask(self._keys(), self._about)
            if not isinstance(heard, Said):
                return heard
            answer = self._understood(heard.text)
            if answer is not None:
                return answer

    @property
    def _about(self) -> list[FieldState]:
        return [self.card.reading, *(other.reading for other in self.card.others)]

    def _show(self, position: int, total: int) -> None:
        out, reading = self.talk.console, self.card.reading
        out.print()
        title = titled(self.card.spec.label, self.card.spec.name)
        out.print(screen.head(title, reading, position, total))
        self._show_pictures()
        hidden = self.blind and self.before is None
        out.print(screen.what_was_read(reading, blind=hidden))
        if self.card.typed:
            self.talk.say(differ_line(self.card))
        if self.before is not None:
            out.print(f"Answered before: {self.before.said}")

    def _show_pictures(self) -> None:
        talk, out = self.talk, self.talk.console
        rows = screen.rows_left(out, TEXT_LINES)
        others = self.card.others
        each = rows if not others else max(screen.LEAST_ROWS, rows // (1 + len(others)) - 1)
        own = talk.picture(talk.desk.field(self.card.reading), each)
        if others:
            out.print(f"{screen.photo_name(self.card.reading)}:")
        out.print(own if own is not None else screen.no_picture(talk.mode))
        for other in others:
            value = "nothing" if other.value is None else other.value
            out.print(f"{screen.photo_name(other.reading)} says {value}:")
            drawn = talk.picture(talk.desk.field(other.reading), each)
            out.print(drawn if drawn is not None else screen.no_picture(talk.mode))

    def _keys(self) -> list[tuple[str, str]]:
        offered = self._offered()
        keys = [("Enter", offered)] if offered is not None else []
        keys.append(("digits", "what it says"))
        if self.card.spec.kind == "site":
            keys.append(("letters", "search by name"))
            keys += [] if self.audit else [(screen.NOT_LISTED, "not in the list")]
        if self.card.photos is not None:
            keys.append((OTHER_SHEET, "another sheet"))
        return [
            *keys,
            (screen.NOTHING, "nothing written"),
            (screen.UNREADABLE, "can't be read"),
        ]

    def _offered(self) -> str | None:
        if self.before is not None:
            return f"keep {self.before.said}"
        if self.card.typed:
            return None
        if self.blind or self.card.reading.read_value is None:
            return None
        return f"{self.card.reading.read_value} is right"

    def _reply(self, answer: Answer) -> Reply:
        # An answer changed after the reading was seen is no blind look any more.
        return field_reply(self.card, answer, blind=self.audit and self.before is None)

    def _understood(self, typed: str) -> Reply | Move | None:
        """The answer that ``typed`` makes, or None after saying what is missing."""
        if typed == screen.NOTHING:
            return self._reply(LeftEmpty())
        if typed == screen.UNREADABLE:
            return self._reply(Illegible())
        if typed == OTHER_SHEET and self.card.photos is not None:
            return PhotosQuestion(self.talk, self.card.photos).ask(*self.at)
        if typed == "":
            return self._enter()
        if self.card.spec.kind == "site":
            if typed == screen.NOT_LISTED and not self.audit:
                return set_aside(self.card.reading, "its site is not in the list")
            if not typed.isdigit():
                return self._search(typed)
        return self._weigh(typed)

    def _enter(self) -> Reply | Move | None:
        read = self.card.reading.read_value
        if self.before is not None:
            return self.before
        if read is None:
            self.talk.say(
                f"nothing was read here. Type what you see, {screen.NOTHING} or "
                f"{screen.UNREADABLE}."
            )
            return None
        if self.card.typed:
            self.talk.say("two people said different things: type which is right.")
            return None
        if self.blind:
            self.talk.say("this field is typed from the picture; the reading comes after.")
            return None
        if self.talk.unseen():
            return None
        value = understand(read, self.card.spec, self.talk.study, self.talk.today)
        if isinstance(value, Refusal):
            self._refused(read, value)
            return None
        return self._reply(Accept())

    def _weigh(self, typed: str) -> Reply | Move | None:
        """An answer if ``typed`` is a value and nothing is odd about it, else a second look."""
        study, today = self.talk.study, self.talk.today
        look = Look(self.blind, self.audit, f"{screen.BACK} goes back")
        value = weigh(self.card, typed, study, today, look)
        if isinstance(value, Refusal):
            self._refused(typed, value)
            return None
        if self.card.second:
            return self._reply(Value(value.text))
        if self.blind and self.before is None:
            self.looked(self.card, Value(value.text))
        if value.note:
            self.talk.say(value.note)
        if not value.doubts:
            return self._reply(Value(value.text))
        return self._once_more(value.text, f"{'; '.join(value.doubts)}.")

    def _once_more(self, text: str, why: str) -> Reply | Move | None:
        """A second look: Enter keeps it, a value typed now stands."""
        self.talk.say(why)
        keys = [
            ("Enter", f"keep {text}"),
            ("digits", "what it says"),
            ("-", "ask again"),
            (screen.NOTHING, "nothing written"),
            (screen.UNREADABLE, "can't be read"),
        ]
        heard = self.talk.ask(keys, self._about)
        if heard == "back":
            return None
        if not isinstance(heard, Said):
            return heard
        if heard.text == "-":
            return None
        if heard.text in (screen.NOTHING, screen.UNREADABLE):
            return self._reply(LeftEmpty() if heard.text == screen.NOTHING else Illegible())
        if heard.text in ("", text):
            return self._reply(Value(text))
        value = understand(heard.text, self.card.spec, self.talk.study, self.talk.today)
        if isinstance(value, Refusal):
            self._refused(heard.text, value)
            return None
        if value.doubt:
            return self._once_more(value.text, f"{value.doubt}.")
        return self._reply(Value(value.text))

    def _refused(self, typed: str, refusal: Refusal) -> None:
        self.talk.say(f"{refusal.message}.")
        if self.card.spec.kind == "site" and typed.isdigit():
            self._list(refusal.near, "the nearest are")
            unlisted = f"{screen.NOT_LISTED} if it is not in the list: the sheet is then set aside"
            rest = f"{screen.UNREADABLE} if none fits" if self.audit else unlisted
            self.talk.say(f"Type its number, or letters to search the names; {rest}.")

    def _search(self, text: str) -> Reply | Move | None:
        found = sites_named(text, self.talk.study.sites)
        if len(found) == 1:
            said = f"{found[0].number} is {found[0].label}."
            return self._once_more(found[0].number, said)
        self._list(found, f"sites named like “{text}”")
        return None

    def _list(self, sites: tuple[Site, ...], what: str) -> None:
        if not sites:
            self.talk.say(f"{what}: none.")
            return
        self.talk.say(f"{what}:")
        for site in sites:
            self.talk.console.print(f"  {site.number}  {site.label}", highlight=False)
