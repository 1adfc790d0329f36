import sys
from pathlib import Path

from fixtures import post as post
from fixtures import study as study
from new_records import copied_records as copied_records
from new_records import new_record as new_record
from stated_sheets import beans as beans
from stated_sheets import reader as reader
from stated_sheets import stated as stated
from stated_sheets import today as today
from stated_sheets import written as written

for room in ("record/store", "reading"):  # their tests run again on PostgreSQL
    sys.path.append(str(Path(__file__).parents[1] / room))
