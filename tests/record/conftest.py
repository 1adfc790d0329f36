from fixtures import post as post
from fixtures import study as study
