#!/usr/bin/env bash
# Installs what Debian or Ubuntu must give; does nothing where apt-get is missing.
# Usage: bash tests/system_packages.sh [PACKAGE …]     (default: what the tests can't do without)
set -euo pipefail
command -v apt-get >/dev/null || exit 0
[ $# -gt 0 ] || set -- python3-venv libgl1 libglib2.0-0 tesseract-ocr tesseract-ocr-eng
missing=()
for package in "$@"; do
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q "ok installed" || missing+=("$package")
done
[ ${#missing[@]} -eq 0 ] && exit 0
as_root=()
if [ "$(id -u)" -ne 0 ]; then
    if ! command -v sudo >/dev/null; then
        echo "Please ask an administrator to install: ${missing[*]}" >&2
        exit 1
    fi
    as_root=(sudo)
fi
"${as_root[@]}" apt-get update -qq
"${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
