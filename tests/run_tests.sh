#!/usr/bin/env bash
# Sets up everything on a fresh Debian 12+ or Ubuntu 24.04+ and runs the tests.
# SHEET_READER_ENV names another place for the virtual environment (default: .venv).
set -euo pipefail
cd "$(dirname "$0")/.."
bash tests/set_up.sh
exec "${SHEET_READER_ENV:-.venv}/bin/python" -m pytest "$@"
