"""The frame of counts that the update starts from, and what may be used of it.

One line per site, visit date, plot and count:

================ ============== ==================================================
column           type           meaning
================ ============== ==================================================
site             string         site number
site_name        string         the place as volunteers know it
visit_date       datetime64     day of the visit
plot             string         name of the plot
treatment        string         its treatment, or empty
count            string         name of the count
value            Int64          the value; missing where none is settled
unit             string         unit of the count, or empty
status           string         accepted, doubted, confirmed, corrected, empty, ...
effort           Float64        effort of this plot at this visit; missing where none
arrived          datetime64     optional: the day on which the sheet came in
meant            datetime64     optional: the expected day that the visit was meant for
================ ============== ==================================================
"""

from __future__ import annotations

from datetime import date

import pandas as pd

from sheet_reader.errors import UsageError
from sheet_reader.record.history.states import RECORDED
from sheet_reader.results.contacts import place_names
from sheet_reader.results.facts import STATUSES, Facts, in_order
from sheet_reader.results.frames import counts_frame
from sheet_reader.results.status.weeks import meant_for
from sheet_reader.results.update.kept import Made
from sheet_reader.study.days import expected_days
from sheet_reader.study.study import Study

COLUMNS = (
    "site", "site_name", "visit_date", "plot", "treatment", "count", "value", "unit", "status",
    "effort",
)  # fmt: skip
KEY = ["site", "visit_date", "plot", "count"]


def frame_of(study: Study, facts: Facts, until: date, last: Made | None = None) -> pd.DataFrame:
    """The counts of visits up to ``until`` as the update takes them.

    ``arrived`` tells apart what the ``last`` update had already (its visit date) from what it had
    not (``until``): a sheet that came late is new. Places bear the names of
    :func:`~sheet_reader.results.contacts.place_names`.
    """
    counts = counts_frame(study, in_order(facts.visits))
    counts = counts[counts["visit_date"] <= pd.Timestamp(until)].reset_index(drop=True)
    names = place_names(study)
    shown = [names.get(site, f"site {site}") for site in counts["site"]]
    counts["site_name"] = pd.Series(shown, dtype="string")
    counts["meant"] = _meant(study, counts)
    if last is not None:
        received = {photo.photo: photo.received_at for photo in facts.photos}
        at = counts["photo"].map(lambda photo: received.get(photo, "")).astype("string")
        had = (counts["visit_date"] <= pd.Timestamp(last.until)) & (at <= last.made_at)
        counts["arrived"] = counts["visit_date"].where(had, pd.Timestamp(until))
    return counts


def _meant(study: Study, counts: pd.DataFrame) -> pd.Series:
    """The expected day that each visit was meant for, as the status has it; else missing."""
    expected = expected_days(study)
    found = {
        (site, pd.Timestamp(day)): pd.Timestamp(expected[place])
        for site, days in counts.groupby("site")["visit_date"]
        for day, place in meant_for(study, expected, {day.date() for day in days}).items()
    }
    keys = zip(counts["site"], counts["visit_date"], strict=True)
    return pd.Series([found.get(key, pd.NaT) for key in keys], dtype=counts["visit_date"].dtype)


def checked(counts: pd.DataFrame) -> pd.DataFrame:
    """``counts`` if it is as described above. Raises UsageError with the first thing amiss."""
    missing = [name for name in COLUMNS if name not in counts.columns]
    if missing:
        raise UsageError(f"the frame of counts lacks {', '.join(missing)}")
    unknown = sorted(set(counts["status"].dropna()) - set(STATUSES))
    if unknown or counts["status"].isna().any():
        raise UsageError(f"unknown status in the frame of counts: {', '.join(unknown) or 'none'}")
    twice = counts.duplicated(KEY)
    if twice.any():
        first = counts.loc[twice, KEY].iloc[0]
        day = pd.Timestamp(first["visit_date"]).date()
        raise UsageError(
            f"site {first['site']} has {first['plot']}.{first['count']} on {day} more than once"
        )
    if bool((counts.loc[recorded(counts), "value"] < 0).any()):
        raise UsageError("a count is negative")
    return counts


def recorded(counts: pd.DataFrame) -> pd.Series:
    """Whether the value of each line counts."""
    return counts["status"].isin(RECORDED) & counts["value"].notna()


def until(counts: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """The lines of visits up to ``day``, included, that had come in by then."""
    known = counts["visit_date"] <= day
    if "arrived" in counts.columns:
        known &= counts["arrived"].isna() | (counts["arrived"] < day + pd.Timedelta(days=1))
    return counts[known]


def arrival(counts: pd.DataFrame) -> pd.Series:
    """When each line came in; the visit date where that is not known."""
    if "arrived" not in counts.columns:
        return counts["visit_date"]
    return counts["arrived"].fillna(counts["visit_date"])


def usable(counts: pd.DataFrame, with_effort: bool) -> pd.DataFrame:
    """The lines whose value counts, with ``value`` and ``effort`` as floats (1 where none).

    With ``with_effort``, lines without a positive effort fall away.
    """
    kept = counts[recorded(counts)].copy()
    kept["value"] = kept["value"].astype(float)
    if not with_effort:
        kept["effort"] = 1.0
        return kept
    kept["effort"] = kept["effort"].astype("Float64").astype(float)
    return kept[kept["effort"] > 0]
