#!/usr/bin/env bash
# Sets up everything that the tests need on a fresh Debian 12+ or Ubuntu 24.04+.
# SHEET_READER_ENV names another place for the virtual environment (default: .venv).
set -euo pipefail
cd "$(dirname "$0")/.."
bash tests/system_packages.sh
env_dir=${SHEET_READER_ENV:-.venv}
[ -x "$env_dir/bin/python" ] || python3 -m venv "$env_dir"
"$env_dir/bin/python" -c 'import sys; sys.exit("sheet_reader needs Python 3.11 or newer") if sys.version_info < (3, 11) else None'
# What is imported is compiled then; the rest need not be.
"$env_dir/bin/pip" install --quiet --disable-pip-version-check --no-compile -e ".[dev]"
