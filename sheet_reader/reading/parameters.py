"""When a box counts as empty, how long a photo may take, and what is told, with unit and origin."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import parameter

_HOUSE = "choice: a choice of this house, no source"


@dataclass(frozen=True, slots=True)
class ReadingParameters:
    """All of the room, in the order of its modules."""

    decoded_at_a_time: int = parameter(100, "pages", _HOUSE, "decoded anew in one transaction")
    fewest_for_workers: int = parameter(
        200,
        "pages",
        "choice: fewer are decoded before worker processes are ready",
        "decoded anew in worker processes",
    )
    given_at_once: int = parameter(
        25, "pages", _HOUSE, "that a worker process decodes before it hands them back"
    )
    given_ahead: int = parameter(
        4,
        "portions",
        "choice: while 100 pages are kept no worker runs out of work",
        "that wait for each worker process",
    )
    most_rounds: int = parameter(
        60,
        "rounds",
        "choice: visits of one site settle one after another, each in a round at most",
        "of decoding anew",
    )
    hands_kept: int = parameter(
        16384,
        "pages",
        "choice: some 150 MB",
        "whose digits are kept between rounds of decoding anew",
    )
    books_kept: int = parameter(
        3, "studies", _HOUSE, "whose layouts stay made ready for read_photo, the last ones used"
    )
    prompt_days: int = parameter(
        14,
        "days",
        "choice: sheets of the last two visits, weekly",
        "between a visit and its reading within which a reading shows that the clock is right",
    )
    mail_head: int = parameter(
        65_536, "bytes", "choice: holds nearly every mail's header", "in which letters are named"
    )
    longest_sender: int = parameter(200, "characters", _HOUSE, "of who wrote a mail")
    most_sheets: int = parameter(8, "sheets", "choice: fits a screen", "named in one line")
    fewest_alike: int = parameter(
        2,
        "photos",
        "choice: one photo that fails may be to blame itself",
        "that fail alike before the installation is blamed",
    )
    surely_blank: float = parameter(
        0.9,
        "probability",
        _HOUSE,
        "from which a site or date asked about anyway counts as left empty",
    )
    faintest_ink: float = parameter(
        0.01, "share of a box", _HOUSE, "dark, above which it may hold something"
    )
    most_names: int = parameter(
        5, "names", "choice: fits a screen", "told of things that are left out"
    )
    seconds_per_picture: float = parameter(
        120.0,
        "s",
        _HOUSE,
        "after which a picture is given up",
    )
    start_seconds: float = parameter(60.0, "s", _HOUSE, "that a worker has to start")
    grace_seconds: float = parameter(5.0, "s", _HOUSE, "that a worker has to end")
    watch_every_s: float = parameter(5.0, "s", _HOUSE, "between two looks at a watched folder")
    watch_mail_s: float = parameter(
        120.0, "s", "choice: a mail server is not to be troubled", "between looks at a mailbox"
    )
    watch_quiet_s: float = parameter(
        4.0, "s", _HOUSE, "without a change before a file counts as arrived whole"
    )
    photos_per_worker: int = parameter(
        4, "photos", "choice: fewer are read before another process is ready", "to one process"
    )
    sent_ahead: int = parameter(
        2,
        "photos",
        "choice: one is read while the next one's bytes travel",
        "under way to each worker of a cluster",
    )
    cluster_connect_s: float = parameter(
        10.0, "s", _HOUSE, "after which a scheduler counts as out of reach"
    )
    cluster_workers_s: float = parameter(
        60.0, "s", "choice: machines that join late start within it", "waited for a first worker"
    )
    cluster_look_s: float = parameter(2.0, "s", _HOUSE, "between two looks at who works")
    worker_bytes: int = parameter(
        600_000_000,
        "bytes",
        "choice: peaks of some 350 MB were measured, tests/faults/memory.py; rest for the system",
        "of memory for each process",
    )


READING = ReadingParameters()
"""In force."""
