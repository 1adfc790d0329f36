"""``sheet-reader audit``: a blind look at a random sample of accepted fields."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, open_study, person, study_argument, tell_notes
from sheet_reader.cli.opening import open_record
from sheet_reader.cli.review import PICTURES, PICTURES_HELP, hold

if TYPE_CHECKING:
    from sheet_reader.decode.audits import SamplingPlan
    from sheet_reader.decode.error_share import ObservedError
    from sheet_reader.record.store.store import Record
    from sheet_reader.review.pictures import PictureMode


@click.command(short_help="Check a random sample of accepted fields, blind.")
@study_argument
@click.option("--as", "name", metavar="NAME", help="Who looks; the login name if left out.")
@click.option(
    "--sample",
    type=click.IntRange(min=1),
    metavar="N",
    help="How many fields to look at; by the sampling plan if left out.",
)
@click.option(
    "--seed", type=int, metavar="N", help="Draw the same sample again; drawn afresh if left out."
)
@click.option("--pictures", type=PICTURES, default="auto", show_default=True, help=PICTURES_HELP)
def audit(
    study: Path, name: str | None, sample: int | None, seed: int | None, pictures: PictureMode
) -> None:
    """Look at a random sample of accepted fields without seeing what was read.

    Type what each picture shows. Only then does the reading appear. The sample follows ISO 2859-1
    (general level II, single, normal) for the study's allowed_error, and the result is stated
    with its exact confidence interval: it says what the sample shows, which is less than the
    allowed_error as long as the sample is small. Wrong readings are corrected, and every answer
    counts when the study's own error rate is judged. Stop whenever you like: the result covers
    what was seen.

    Example:  sheet-reader audit bean_tips --as Kim
    """
    import numpy as np

    from sheet_reader.record.history.rows import accepted_sample
    from sheet_reader.record.history.states import ACCEPTED
    from sheet_reader.review.source import RecordQuestions

    opened = open_study(study)
    with open_record(opened) as record:
        tell_notes(record)
        fields = record.summary().fields
        lot = sum(fields.get(status, 0) for status in ACCEPTED)
        if lot < 2:
            click.echo("Too few accepted fields to draw a sample from.")
            return
        plan = _plan(lot, opened.allowed_error)
        chosen = accepted_sample(record.state(), sample or plan.sample, np.random.default_rng(seed))
        click.echo(
            f"{counted(len(chosen), 'field')} drawn at random from {lot:,} accepted ones. "
            "Type what you see."
        )
        outcome = hold(record, RecordQuestions(record, chosen), person(name), pictures, audit=True)
        _tell(record, plan if sample is None else None, outcome.answered, outcome.confirmed)


def _plan(lot: int, allowed_error: float) -> SamplingPlan:
    from sheet_reader.decode.audits import nearest_aql, sampling_plan

    return sampling_plan(lot, nearest_aql(allowed_error))


def of_plan(plan: SamplingPlan, seen: ObservedError) -> str:
    """What the sample says of the plan's limit: no contradiction is no proof."""
    from sheet_reader.decode.error_share import checks_needed

    limit = plan.aql / 100
    head = (
        f"Plan ISO 2859-1, letter {plan.letter}: {plan.sample} looked at, up to {plan.accept} "
        f"wrong expected at {plan.aql:g} % wrong"
    )
    if plan.sample >= plan.lot:
        return f"{head}. Every accepted field was looked at."
    if not plan.accepts(seen.wrong):
        return f"{head}. More were wrong: that speaks against {plan.aql:g} %."
    if seen.upper <= limit:
        return f"{head}. It shows {plan.aql:g} %."
    needed = min(plan.lot, checks_needed(limit, wrong=seen.wrong))
    return (
        f"{head}. That does not contradict {plan.aql:g} %, nor does it show it: "
        f"{seen.wrong:,} wrong of {needed:,} would."
    )


def _tell(record: Record, plan: SamplingPlan | None, checked: int, right: int) -> None:
    """The result of this look, of all looks so far, and what can be promised."""
    from sheet_reader.decode.error_share import ObservedError
    from sheet_reader.reading.opening import drift_lines, odd_site_lines, promise_of
    from sheet_reader.wording import percent

    click.echo()
    if checked == 0:
        click.echo("Nothing was looked at.")
        return
    seen = ObservedError(checked - right, checked)
    low, high = seen.interval
    click.echo(f"{seen.sentence}.")
    click.echo(f"Two-sided 95 % interval (Clopper–Pearson): {percent(low)} to {percent(high)}.")
    if plan is not None and checked >= plan.sample:
        click.echo(of_plan(plan, seen))
    audited = record.audited()
    total = ObservedError(sum(not field.right for field in audited), len(audited))
    click.echo(f"All audits so far: {total.sentence}.")
    click.echo(promise_of(record).sentence)
    for line in (*odd_site_lines(record), *drift_lines(record)):
        click.echo(line)
