from stated_sheets import beans as beans
from stated_sheets import reader as reader
from stated_sheets import stated as stated
from stated_sheets import today as today
from stated_sheets import written as written
