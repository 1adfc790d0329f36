"""The words of the update for volunteers: a table of keys and texts.

``[words.update]`` in ``study.toml`` sets single ones, on top of those of the study's language.
A text may hold ``{names}``; what may stand there is what stands in the English text. Where a
number decides, texts are parted by ``|``: for one, for any other number and, where a third stands,
for none.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from sheet_reader.study.table import Table
from sheet_reader.study.words import UPDATE, languages, placeholders, shipped_table

ENGLISH: Mapping[str, str] = {
    "language": "en",
    "decimal_point": ".",
    "months": "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec",
    "date": "{day} {month} {year}",
    "date_short": "{day} {month}",
    "percent": "{n}\u00a0%",
    "list_and": "{rest} and {last}",
    # counts of things
    "n_sites": "{n} site|{n} sites|no sites",
    "n_visits": "{n} visit|{n} visits|no visits",
    "n_values": "{n} value|{n} values|no values",
    "n_weeks": "{n} week|{n} weeks",
    "n_times": "once|{n} times",
    "per": "per {effort}",
    "per_visit": "per visit",
    "density": "{count} {per}",
    "fewer": "{by} fewer",
    "more": "{by} more",
    "same": "the same",
    "yes": "yes",
    "no": "no",
    # the head
    "page_title": "{title}: update of {day}",
    "lead": "Update {number}, with counts up to {day}.",
    "lead_draft": "Everything here is worked out from the sheets that have come in; later sheets "
    "and corrections can change it.",
    # what came in
    "heading_in": "What came in",
    "in_new": "Since the last update ({since}): {visits} from {sites}.",
    "in_none_new": "Nothing new since the last update ({since}).",
    "in_all": "In all: {visits} from {sites}, with {values} recorded.",
    "in_none": "No counts have come in yet.",
    "in_waiting": "{values} waits to be looked at by a person; it takes no part until "
    "then.|{values} wait to be looked at by a person; they take no part until then.",
    "table_totals": "What was counted so far",
    "col_count": "Count",
    "col_plot": "Plot",
    "col_recorded": "Times recorded",
    "col_sum": "Sum",
    "col_mean": "Mean {per}",
    "heading_thanks": "Thank you",
    "thanks_places": "Thank you for counting at {places}.",
    "thanks_people": "Thank you, {people}.",
    # your site
    "heading_site": "Your site: {site}",
    "site_none": "Nothing has come in from this site yet.",
    "site_found": "You looked {times} and counted {n} in all ({count}).",
    "site_zero": "You looked {times} and found none ({count}): a 0 that is written down tells as "
    "much as a find.",
    "site_looked": "You looked {times}.",
    "site_days": "Your first sheet is of {first}.|Your first sheet is of {first}, your last one "
    "of {last}.",
    "site_among": "Yours is the first site of all. Thank you!|Yours is one of the {n} sites that "
    "make this update. Thank you!",
    "site_density": "{plot}: on average {value} {count} {per} over the season.",
    "site_half": "Half of all sites lie between {low} and {high}.",
    "site_in_pictures": "The pictures below mark your site.",
    "table_site": "Your counts",
    "col_date": "Date",
    # comparison
    "heading_comparison": "What the comparison shows so far",
    "main_clear": "About {by} {count} {per} in “{treated}” than in “{control}” at a typical site, "
    "between {low} and {high}; {sites} with a find.",
    "main_none": "No {count} at all in “{empty}” so far, but {n} in “{other}”: at a typical site "
    "at least {by} {per} in “{treated}” than in “{control}”; {sites} with a find.",
    "main_open": "We can't say yet. So far it is about {by} {count} {per} in “{treated}” than in "
    "“{control}” at a typical site, but anything between {low} and {high} fits the counts; {sites} "
    "with a find.",
    "main_alike": "We can't say yet. So far “{treated}” and “{control}” have alike numbers of "
    "{count} {per} at a typical site, but anything between {low} and {high} fits the counts; "
    "{sites} with a find.",
    "main_few": "No statement yet: so far {sites} has counts from both plots on the same day, and "
    "fewer than {least} are too few.|No statement yet: so far {sites} have counts from both plots "
    "on the same day, and fewer than {least} are too few.",
    "main_few_finds": "No statement yet: {sites} have counts from both plots, but {finds} had any "
    "find, and fewer than {least} are too few.",
    "main_few_animals": "No statement yet. {count} found so far, in both plots of {sites}: {n}. "
    "That is too few to tell “{treated}” from “{control}”.",
    "no_picture": "There is no picture of the comparison until something can be said.",
    "estimand": "A typical site is one in the middle: half of all sites have a larger ratio of the "
    "two plots, half a smaller one. All animals thrown together would give {pooled}; there, the "
    "sites with the most animals rule.",
    "looks": "We look at these counts once. The range goes wrong about one time in 20.|We look at "
    "these counts again and again. The range is wide enough for {n} looks: all of them together "
    "go wrong about one time in 20.",
    "missed_many": "Counts are missing more often where there are many {count}. The figure can be "
    "wrong by more than its range, so please count on such days too.",
    "missed_few": "Counts are missing more often where there are few {count}. The figure can be "
    "wrong by more than its range, so please write 0 where there is none.",
    "effort_equal": "Both plots were searched nearly alike ({effort}: {by} in “{treated}”).",
    "effort_unequal": "The plots were not searched alike ({effort}: {by} in “{treated}”). All "
    "counts are therefore divided by it.",
    "picture_pairs": "Each line is one site, on average over the season: “{control}” on the left, "
    "“{treated}” on the right. A site with finds in one plot only has a dot there and no line.",
    "pairs_down": "fewer: {n}",
    "pairs_up": "more: {n}",
    "pairs_even": "alike: {n}",
    "pairs_none": "none found at {sites}",
    "axis_log": "{density} (logarithmic scale)",
    "pairs_typical": "typical site",
    "your_site": "your site",
    "alt_pairs": "Paired dots of {n}, {density}. Fewer in {treated} than in {control} at {down}, "
    "more at {up}, alike at {even}. Typical site: {a} in {control}, {b} in {treated}.",
    "table_pairs": "Each site over the season",
    "col_site": "Site",
    "col_visits": "Visits",
    "col_ratio": "Ratio",
    # weeks
    "heading_weeks": "Week by week",
    "axis_mean": "{density}, mean over sites",
    "weeks_none": "None found so far ({count}), at {sites}: so there is nothing to draw. Every 0 "
    "that was written down counts.",
    "picture_weeks": "Mean over sites, with the plain 95 % interval of that week. A week with "
    "fewer than 3 sites has no interval.",
    "axis_week": "week from",
    "week": "week from {day}",
    "alt_weeks": "Weekly means of {density}. {weeks}.",
    "alt_week": "{day}: {means}",
    "table_weeks": "Means by week and plot",
    "col_week": "Week from",
    "col_sites": "Sites",
    "col_site_mean": "Mean of sites {per}",
    "col_lower": "Lower",
    "col_upper": "Upper",
    "picture_grid": "All plots together, {density}, at each site in each week. A question mark "
    "waits for a person; an empty cell has no count.",
    "picture_grid_shades": "All plots together, {density}, at each site in each week: the darker, "
    "the more. An empty cell has no count.",
    "alt_grid": "Table of {sites} and {weeks}. Cells with a count: {filled} of {cells}, from "
    "{low} to {high}; waiting for a person: {waiting}.",
    "table_grid": "Sites and weeks",
    "waits": "waits",
    "none": "–",
    # stages
    "heading_stages": "Stages over time",
    "stages_none": "No stage was found so far.",
    "picture_stages": "Share of each stage by week; the number above each bar is how many were "
    "counted. Only visits on which every stage was recorded.",
    "all_plots": "All plots",
    "alt_stages": "Shares of the stages. {panels}.",
    "table_stages": "Stages by week and plot",
    "col_stage": "Stage",
    "col_counted": "Counted",
    "col_share": "Share",
    # open questions
    "heading_open": "What we can't say yet",
    "open_nothing": "Whether the same holds elsewhere or in another year: these sites were not "
    "drawn at random, and this is one season.",
    "open_interval": "Whether there is a difference at all: the range still holds both fewer and "
    "more.",
    "open_few": "Anything about the difference, before {least} sites have counted both plots and "
    "had a find.",
    "open_few_animals": "Anything about the difference, before more {count} are found.",
    "open_size": "How large the difference is, closer than the range from {low} to {high}.",
    "open_left": "What these values would add: {left}.",
    "left_waiting": "{n} waits for a person|{n} wait for a person",
    "left_unreadable": "{n} can't be read|{n} can't be read",
    "left_not_recorded": "{n} was left empty|{n} were left empty",
    "left_no_effort": "{n} has no number of {effort}|{n} have no number of {effort}",
    "left_alone": "{n} has no partner from the other plot|{n} have no partner from the other plot",
    "open_misread": "Reading errors: if 1 in {one_in} of the values that nobody looked at were "
    "misread, which is the most we promise, the figure would move by less than {points} percentage "
    "points in 95 of 100 cases.",
    "open_zero": "Anything from the site where neither plot has had a find: it says nothing about "
    "the difference, which is worked out without it.|Anything from the {n} sites where neither "
    "plot has had a find: they say nothing about the difference, which is worked out without them.",
    # photos, dates, notes
    "heading_advice": "Photos that are easy to read",
    "heading_next": "Next counts",
    "next_dates": "The next count is due on {dates}.|The next counts are due on {dates}.",
    "numbers_behind": "The numbers of this picture",
    "accessible_form": "The accessible form of this update is its HTML page.",
    "footer": "Made from the sheets of {title}. Nobody is named who did not allow it.",
}  # fmt: skip
LONGEST = 600
MONTHS = 12


@cache
def shipped_update_words(language: str) -> Mapping[str, str]:
    """The complete set of one of :func:`~sheet_reader.study.words.languages`."""
    if language == "en":
        return ENGLISH
    return {**ENGLISH, **shipped_table(language)[UPDATE], "language": language}


def read_update_words(top: Table) -> tuple[tuple[str, str], ...]:
    """All texts of a study's updates by key: those of its language, with its own in their place."""
    if not top.has("words"):
        return tuple(ENGLISH.items())
    if top.is_text("words"):
        return tuple(_shipped(top, "words").items())
    words = top.table("words", required=False)
    if words is None:
        return tuple(ENGLISH.items())
    return tuple({**_shipped(words, "language"), **_changes(words)}.items())


def _shipped(table: Table, key: str) -> Mapping[str, str]:
    """English for a language that does not ship: the words of the sheet have told it already."""
    language = table.text(key, longest=40, required=False) if table.is_text(key) else ""
    return shipped_update_words(language if language in languages() else "en")


def _changes(words: Table) -> dict[str, str]:
    table = words.table(UPDATE, required=False)
    if table is None:
        return {}
    table.only(ENGLISH)
    given = {key: table.text(key, longest=LONGEST) for key in ENGLISH if table.has(key)}
    return {key: text for key, text in given.items() if text and _serves(table, key, text)}


def _serves(table: Table, key: str, text: str) -> bool:
    known = placeholders(ENGLISH[key])
    try:
        unknown = sorted(placeholders(text) - known)
    except ValueError:
        table.wrong(key, "has a brace without its partner")
        return False
    if unknown:
        listed = ", ".join(f"{{{name}}}" for name in sorted(known)) or "nothing"
        table.wrong(key, f"{{{unknown[0]}}} is not known here; in braces may stand {listed}")
        return False
    if key == "months" and len(text.split()) != MONTHS:
        table.wrong(key, "must be the names of twelve months, parted by spaces")
        return False
    return True
