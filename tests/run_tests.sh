#!/usr/bin/env bash
# Sets up everything on a fresh Debian 12+ or Ubuntu 24.04+ and runs the tests.
# SHEET_READER_ENV names another place for the virtual environment (default: .venv).
set -euo pipefail
cd "$(dirname "$0")/.."
bash tests/system_packages.sh python3-venv libgl1 libglib2.0-0 tesseract-ocr tesseract-ocr-eng
env_dir=${SHEET_READER_ENV:-.venv}
[ -x "$env_dir/bin/python" ] || python3 -m venv "$env_dir"
"$env_dir/bin/python" -c 'import sys; sys.exit("sheet_reader needs Python 3.11 or newer") if sys.version_info < (3, 11) else None'
"$env_dir/bin/pip" install --quiet --disable-pip-version-check -e ".[dev]"
exec "$env_dir/bin/python" -m pytest "$@"
