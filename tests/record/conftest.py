from fixtures import post as post
from fixtures import study as study
from new_records import copied_records as copied_records
from new_records import new_record as new_record
