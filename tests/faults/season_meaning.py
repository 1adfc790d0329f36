"""What each value means by its paper, and what a person said of changed words: a plain model.

It knows nothing of the record's rule. A sheet has the words that stood on its paper, the study file
those of now, and the person's answers join words two by two. A value may stand in a column only
where paper and column have the same name and words, or a person said that they are the same.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from edited_study import Draft
from season_model import Model, Sheet

Thing = tuple[str, str, str]
"""Kind, name and words."""
Words = dict[tuple[str, str], str]


def words_of(draft: Draft) -> Words:
    """What stands on the sheets of a draft for each name."""
    found = {("plot", p["name"]): _with(p["label"], p.get("treatment")) for p in draft["plots"]}
    found |= {("count", c["name"]): _with(c["label"], c.get("unit")) for c in draft["counts"]}
    found |= {
        ("number", h["name"]): h["label"] for h in draft["header"] if h.get("kind") == "number"
    }
    return found | {
        ("sum", rule["total"]): " + ".join(sorted(rule["parts"])) for rule in draft["sums"]
    }


def _with(label: str, more: str | None) -> str:
    return f"{label} ({more})" if more else label


@dataclass
class Meaning:
    """The words of each sheet's paper, the labels that sites had when their counts came in, and
    what a person said: two things are the same, or not (words "": all that there was).
    """

    papers: dict[int, Words] = field(default_factory=dict)
    labels: dict[str, set[str]] = field(default_factory=dict)
    said: dict[tuple[Thing, Thing], bool] = field(default_factory=dict)

    def alike(self, thing: Thing) -> set[Thing]:
        """All that a person said is the same, step by step."""
        found, new = {thing}, [thing]
        while new:
            one = new.pop()
            for pair, same in self.said.items():
                if same and one in pair:
                    new += [t for t in pair if t not in found]
                    found |= set(pair)
        return found

    def now(self, thing: Thing, today: Words) -> str | None:
        """The present name of a thing, where it is known beyond doubt."""
        if today.get(thing[:2]) == thing[2]:
            return thing[1]
        names = {t[1] for t in self.alike(thing) if today.get(t[:2]) == t[2]}
        return names.pop() if len(names) == 1 else None

    def differ(self, one: Thing, other: Thing) -> bool:
        """Whether a person said so, of these or of what is the same as they."""
        ones, others = self.alike(one), self.alike(other)
        return any(
            not same and ((a in ones and b in others) or (a in others and b in ones))
            for (a, b), same in self.said.items()
        )

    def stands(self, kind: str, name: str, paper: Words, today: Words) -> str:
        """The name under which a plot, count or number of a sheet is shown."""
        called = [self.now((k, n, w), today) for (k, n), w in paper.items() if k == kind]
        now = self.now((kind, name, paper[kind, name]), today)
        if now is not None and Counter(called)[now] == 1:
            return now
        return f"{name} “{paper[kind, name]}”" if (kind, name) in today else name

    def total(self, name: str, paper: Words, today: Words) -> tuple[Thing, Thing] | None:
        """Where a count is a total on paper and now: what it was by present names, and what it
        is."""
        kind = "count" if ("count", name) in paper else "number"
        now = self.stands(kind, name, paper, today)
        if ("sum", name) not in paper or ("sum", now) not in today:
            return None
        parts = [self.stands("count", p, paper, today) for p in paper["sum", name].split(" + ")]
        return ("sum", now, " + ".join(sorted(parts))), ("sum", now, today["sum", now])

    def shown(self, name: str, paper: Words, today: Words) -> str:
        """The full name under which a field of a sheet is shown."""
        plot, dot, count = name.rpartition(".")
        if not dot:
            known = ("number", name) in paper
            return self.stands("number", name, paper, today) if known else name
        now = self.stands("count", count, paper, today)
        total = self.total(count, paper, today)
        if total and total[1] not in self.alike(total[0]):
            now += f" “= {total[0][2]}”"
        return f"{self.stands('plot', plot, paper, today)}.{now}"

    def unsaid(self, draft: Draft) -> list[Thing]:
        """Things that a person must be asked about before a value is shown."""
        today = words_of(draft)
        found = {t for paper in self.papers.values() for t in self._unsaid_on(paper, today)}
        if not found:
            found = {t for paper in self.papers.values() for t in self._sums_unsaid(paper, today)}
        sites = {("site", n): draft["labels"][n] for n in draft["sites"]}
        found |= {
            ("site", number, label)
            for number, labels in self.labels.items()
            for label in labels
            if ("site", number) in sites
            and ("site", number, sites["site", number]) not in self.alike(("site", number, label))
        }
        return sorted(found)

    def _unsaid_on(self, paper: Words, today: Words) -> Iterator[Thing]:
        for (kind, name), words in paper.items():
            thing, own = (kind, name, words), (kind, name, today.get((kind, name), ""))
            if kind == "sum" or not own[2] or self.now(thing, today) is not None:
                continue
            if not self.differ(thing, own) and not self._taken(thing, today):
                yield thing

    def _taken(self, thing: Thing, today: Words) -> bool:
        """Whether another thing of a sheet that has this one is what its name stands for now."""
        return any(
            kind == thing[0] and self.now((kind, name, words), today) == thing[1]
            for paper in self.papers.values()
            if paper.get(thing[:2]) == thing[2]
            for (kind, name), words in paper.items()
        )

    def _sums_unsaid(self, paper: Words, today: Words) -> Iterator[Thing]:
        for kind, name in paper:
            total = self.total(name, paper, today) if kind == "sum" else None
            if total and total[1] not in self.alike(total[0]) and not self.differ(*total):
                yield total[0]

    def view(self, model: Model, draft: Draft) -> Model:
        """The model with every field under the name that its column has now."""
        today = words_of(draft)
        names = {
            sheet.page_instance_id: {n: self.shown(n, self.paper(sheet), today) for n in sheet.said}
            for sheet in model.sheets
        }
        return replace(
            model,
            sheets=[
                replace(
                    s,
                    said={names[s.page_instance_id][n]: v for n, v in s.said.items()},
                    held={names[s.page_instance_id][n]: v for n, v in s.held.items()},
                )
                for s in model.sheets
            ],
            answers=[
                replace(
                    a,
                    field=names[a.page_instance_id].get(a.field, a.field),
                    told=a.told and frozenset((names[a.page_instance_id][n], v) for n, v in a.told),
                )
                for a in model.answers
            ],
        )

    def paper(self, sheet: Sheet) -> Words:
        return self.papers[sheet.page_instance_id]

    def raw(self, sheet: Sheet, name: str, draft: Draft) -> str:
        """The field of a sheet that is shown under ``name``."""
        today = words_of(draft)
        return next(n for n in sheet.said if self.shown(n, self.paper(sheet), today) == name)

    def note_sites(self, sites: Iterable[str], draft: Draft) -> None:
        """Counts of these sites are there now."""
        for site in sites:
            if site in draft["sites"]:
                self.labels.setdefault(site, {draft["labels"][site]})
