#!/usr/bin/env bash
# Sets up everything on a fresh Debian 12+ or Ubuntu 24.04+ and runs the demo.
# Usage: bash samples/try_demo.sh [FOLDER]     (default: demo)
# SHEET_READER_ENV names another place for the virtual environment (default: .venv).
set -euo pipefail
root=$(cd "$(dirname "$0")/.." && pwd)
bash "$root/tests/system_packages.sh" python3-venv libgl1 libglib2.0-0
env_dir=${SHEET_READER_ENV:-$root/.venv}
[ -x "$env_dir/bin/python" ] || python3 -m venv "$env_dir"
"$env_dir/bin/python" -c 'import sys; sys.exit("sheet_reader needs Python 3.11 or newer") if sys.version_info < (3, 11) else None'
"$env_dir/bin/pip" install --quiet --disable-pip-version-check -e "$root"
exec "$env_dir/bin/sheet-reader" demo "${1:-demo}"
