"""What a name means: the words that stood on the paper of each value, and what people said since.

A value keeps the wording of its sheet. Where the study says otherwise for that name now, a person
says once whether it is the same thing. Until then, and where it is another thing, the value stands
under the name with its own words, which no column has. All that is put in place when values are
looked at, so that an answer can be taken back at any time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from sheet_reader.study.former import Key, Wording, site_labels, wording_of
from sheet_reader.study.study import Study


@dataclass(frozen=True, slots=True)
class Term:
    """A thing as it is worded: ``said`` is what stands beside its ``name`` (see
    :func:`~sheet_reader.study.former.wording_of`).
    """

    kind: str
    name: str
    said: str


@dataclass(frozen=True, slots=True)
class MeaningAnswer:
    """``former`` and ``present`` are the ``same`` thing, or not; ``present.said`` "" stands for
    all that the study had then.
    """

    id: int
    former: Term
    present: Term
    same: bool
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class MeaningQuestion:
    """Something that values were written under, and what it may be now, likely first. ``blocks``:
    its name stands for other words now, so that no value is shown before it is said. ``moved``:
    its own words stand under another name now, the last of the candidates.
    """

    former: Term
    candidates: tuple[Term, ...]
    blocks: bool
    moved: bool = False


class Earlier(NamedTuple):
    """What something that is called ``name`` now was on earlier sheets (``former``, ``said``), or
    (not ``same``) what else stood there under that name.
    """

    kind: str
    name: str
    former: str
    said: str
    same: bool


@dataclass(frozen=True)
class Meanings:
    """``study`` as it is now, the ``answers`` that hold, the wordings under which values came in
    (``worded``, by id), which of them each page has, and the labels that sites had.
    """

    study: Study
    answers: tuple[MeaningAnswer, ...] = ()
    worded: Mapping[int, Wording] = field(default_factory=dict)
    pages: Mapping[int, int] = field(default_factory=dict)
    sites: tuple[Term, ...] = ()

    @cached_property
    def now(self) -> dict[Key, str]:
        """The words of today."""
        return wording_of(self.study)

    @cached_property
    def _groups(self) -> dict[Term, set[Term]]:
        """For each thing that was said to be the same as another: all that are."""
        groups: dict[Term, set[Term]] = {}
        for answer in self.answers:
            if answer.same:
                pair = answer.former, answer.present
                small, large = sorted((groups.get(t, {t}) for t in pair), key=len)
                large |= small
                groups |= dict.fromkeys([*small, *pair], large)
        return groups

    def _of_today(self, term: Term) -> bool:
        key = term.kind, term.name
        return (self._labels if term.kind == "site" else self.now).get(key) == term.said

    @cached_property
    def _labels(self) -> dict[Key, str]:
        return site_labels(self.study)

    def called(self, term: Term) -> str | None:
        """What the study calls this now; None where nobody has said so."""
        if self._of_today(term):
            return term.name
        names = {t.name for t in self._groups.get(term, ()) if self._of_today(t)}
        return names.pop() if len(names) == 1 else None

    def renamed(self, wording: Wording) -> dict[str, str]:
        """The present name of every field of a sheet with this wording that has another one now."""
        if all(self.now.get(key) == said for key, said in wording.items()):
            return {}
        names = self._all_names(wording)
        sums = {
            total: f"{now} “= {term.said}”"
            for total, now, term in self._sums(wording, names)
            if ("sum", now) in self.now and self.called(term) is None
        }
        found = {name: sums.get(name, now) for name, now in names["number"].items()}
        for count, now in names["count"].items():
            for plot, stands in names["plot"].items():
                full = f"{plot}.{count}"
                found[full] = sums.get(full, f"{stands}.{sums.get(count, now)}")
        return {name: now for name, now in found.items() if name != now}

    def _all_names(self, wording: Wording) -> dict[str, dict[str, str]]:
        return {kind: self._names(kind, wording) for kind in ("plot", "count", "number")}

    def _names(self, kind: str, wording: Wording) -> dict[str, str]:
        """What each thing of a kind is called now; a name with other words now gets its own."""
        terms = [Term(of, name, said) for (of, name), said in wording.items() if of == kind]
        called = {term: self.called(term) for term in terms}
        often = Counter(called.values())
        return {
            term.name: now
            if now is not None and often[now] == 1
            else f"{term.name} “{term.said}”" if (kind, term.name) in self.now else term.name
            for term, now in called.items()
        }  # fmt: skip

    def _sums(
        self, wording: Wording, names: Mapping[str, Mapping[str, str]]
    ) -> Iterator[tuple[str, str, Term]]:
        """Each total of a sheet, what it is called now, and its parts by their present names."""

        def now(name: str) -> str:
            plot, dot, count = name.rpartition(".")
            if dot:
                return f"{names['plot'].get(plot, plot)}.{names['count'].get(count, count)}"
            return names["count"].get(name) or names["number"].get(name, name)

        for (kind, total), said in wording.items():
            if kind == "sum":
                parts = " + ".join(sorted(map(now, said.split(" + "))))
                yield total, now(total), Term("sum", now(total), parts)

    @cached_property
    def by_wording(self) -> dict[int, dict[str, str]]:
        """For each wording in which a field has another name now: those names."""
        found = ((number, self.renamed(wording)) for number, wording in self.worded.items())
        return {number: names for number, names in found if names}

    def field(self, name: str, page_instance_id: int) -> str:
        """The present full name of a field of a page."""
        names = self.by_wording.get(self.pages.get(page_instance_id, 0))
        return names.get(name, name) if names else name

    def on_sheet(self, name: str, page_instance_id: int) -> str:
        """The name that a field of a page had on its sheet; the reverse of :meth:`field`."""
        names = self.by_wording.get(self.pages.get(page_instance_id, 0), {})
        return next((former for former, now in names.items() if now == name), name)

    def questions(self) -> list[MeaningQuestion]:
        """What is to be said, that which changed its name first."""
        found: dict[Term, list[Wording]] = {}
        for wording in self.worded.values():
            for (kind, name), said in wording.items():
                term = Term(kind, name, said)
                if kind != "sum" and self.called(term) is None:
                    found.setdefault(term, []).append(wording)
        asked = [q for term, seen in found.items() if (q := self._question(term, seen))]
        asked.sort(key=lambda q: (not q.blocks, not q.moved))
        if not any(q.blocks for q in asked):
            asked = [*self._sum_questions(), *asked]
        return asked + [
            MeaningQuestion(term, (Term("site", term.name, self._labels["site", term.name]),), True)
            for term in self.sites
            if ("site", term.name) in self._labels and self.called(term) is None
        ]

    def _question(self, term: Term, seen: Sequence[Wording]) -> MeaningQuestion | None:
        """What is to be said of a thing on sheets with these wordings, if anything."""
        kind, name = term.kind, term.name
        with_it = {Term(*key, said) for wording in seen for key, said in wording.items()}
        taken = {self.called(other) for other in with_it if other.kind == kind}
        before = {other.name for other in with_it if other.kind == kind}
        free = [
            Term(*key, said)
            for key, said in self.now.items()
            if key[0] == kind and key[1] not in taken
        ]
        moved = tuple(t for t in free if t.said == term.said)
        own = tuple(t for t in free if t.name == name)
        if own and (term, own[0]) not in self._denials:
            return MeaningQuestion(term, own + moved[:1], blocks=True, moved=bool(moved))
        new = tuple(t for t in free if t.name not in before and t not in moved)
        if (term, Term(kind, name, "")) in self._denials or not moved + new:
            return None
        return MeaningQuestion(term, moved + new, blocks=False)

    def _sum_questions(self) -> list[MeaningQuestion]:
        found: dict[Term, Term] = {}
        for wording in self.worded.values():
            for _, total, term in self._sums(wording, self._all_names(wording)):
                own = Term("sum", total, self.now.get(("sum", total), ""))
                if own.said and self.called(term) is None and (term, own) not in self._denials:
                    found[term] = own
        return [MeaningQuestion(term, (own,), blocks=True) for term, own in found.items()]

    @cached_property
    def _denials(self) -> set[tuple[Term, Term]]:
        return {
            pair
            for a in self.answers
            if not a.same
            for one in self._groups.get(a.former, {a.former})
            for other in self._groups.get(a.present, {a.present})
            for pair in ((one, other), (other, one))
        }

    def earlier(self) -> list[Earlier]:
        """What people said of earlier words of things that the study has now."""
        return [
            Earlier(a.former.kind, name, a.former.name, a.former.said, a.same)
            for a in self.answers
            if (name := self.called(a.former if a.same else a.present)) is not None
            and not self._of_today(a.former)
        ]

    def clash(self) -> tuple[Term, Term] | None:
        """Two things of one sheet, or of today, that the answers take for the same, if any."""
        for wording in (*self.worded.values(), self.now):
            terms = {Term(*key, said) for key, said in wording.items()}
            for term in sorted(terms, key=lambda t: t.name):
                for other in self._groups.get(term, set()) & terms - {term}:
                    return term, other
        return None


def told(question: MeaningQuestion) -> str:
    """What changed, as part of a sentence."""
    former, now = question.former, question.candidates[0]
    if question.moved:
        other = question.candidates[-1].name
        return f"“{former.said}” stood on the sheets as {former.name}, and is {other} now"
    if not question.blocks:
        return f"{former.kind} {former.name} (“{former.said}”) is not there any more"
    return f"{now.kind} {now.name} was “{former.said}” on the sheets, and is “{now.said}” now"


def told_together(questions: Iterable[MeaningQuestion]) -> str:
    """The first of them, and how many more there are."""
    first, *more = questions
    return told(first) + (f", and {len(more)} more" if more else "")
