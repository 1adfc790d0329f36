#!/usr/bin/env bash
# Sets up everything on a fresh Debian 12+ or Ubuntu 24.04+ and runs the tests, in as many processes
# as there are cores. Arguments go to pytest: -n 0 for one process and a debugger, --thorough for
# the whole matrices. SHEET_READER_ENV names another place for the virtual environment (.venv).
set -euo pipefail
cd "$(dirname "$0")/.."
unset PYTHONDONTWRITEBYTECODE # what is imported is compiled once and kept, not once in each process
bash tests/set_up.sh
exec "${SHEET_READER_ENV:-.venv}/bin/python" -m pytest -n auto --dist=worksteal "$@"
