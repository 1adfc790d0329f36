#!/usr/bin/env bash
# The commands in an environment without development packages.
# Usage: bash tests/smoke.sh BIN_FOLDER [FILE]     (the bin folder of a virtual environment; FILE
# gets what the demo says)
set -euo pipefail
bin=$(cd "$1" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"

say() { echo "smoke: $*"; }
fail() { say "$*" >&2; exit 1; }

"$bin/sheet-reader" --version
commands=$("$bin/sheet-reader" --help | sed -n '/^Commands:/,/^$/s/^  \([a-z]*\) .*/\1/p')
[ "$(echo "$commands" | wc -w)" -ge 10 ] || fail "the list of commands is too short: $commands"
for command in $commands; do
    "$bin/sheet-reader" "$command" --help > help.txt
    grep -q "Example:" help.txt || fail "$command --help shows no example"
done
say "every command explains itself"

printf '%s\n' "Snails on walls" en "Snails: 60" "Slugs: 40" "" "" 7 2026-04-20 2026-08-30 A4 "" 10 "" |
    "$bin/sheet-reader" new walls > new.txt || { cat new.txt; fail "a new study failed"; }
"$bin/sheet-reader" print walls --all-sites > print.txt
[ -s walls/sheets/snails-on-walls-all-sites.pdf ] || fail "no sheets of the new study: $(cat print.txt)"
say "a new study is printed"

"$bin/sheet-reader" demo beans > demo.txt 2>&1 || { cat demo.txt; fail "the demo failed"; }
cat demo.txt
if [ $# -gt 1 ]; then cp demo.txt "$2"; fi
for file in study.toml record.sqlite results/rows.csv results/readings.csv; do
    [ -s "beans/$file" ] || fail "the demo left no $file"
done
ls beans/sheets/*.pdf beans/sheets/*.geometry.json > /dev/null

"$bin/sheet-reader" read beans > again.txt
grep -q "Nothing new" again.txt || fail "reading again read something: $(cat again.txt)"
"$bin/sheet-reader" export beans --out once > /dev/null
"$bin/sheet-reader" export beans --out twice > /dev/null
cmp once/rows.csv twice/rows.csv
cmp once/readings.csv twice/readings.csv
head -n 1 once/readings.csv > header.txt
grep -q "^photo,pdf_page,sheet,page,site,visit_date,field,value,confidence,status,reason,reason_code," header.txt || fail "readings.csv has another header"
[ "$(wc -l < once/rows.csv)" -gt 1 ] || fail "rows.csv has no rows"
"$bin/sheet-reader" export beans --out many --format csv,data-package,darwin-core,excel > /dev/null
for file in counts.csv dictionary.md data-package/datapackage.json darwin-core.zip bean-tips.xlsx; do
    [ -s "many/$file" ] || fail "the export left no $file"
done
"$bin/sheet-reader" status beans --picture status.png --json status.json > /dev/null
[ -s status.png ] || fail "no picture of the status"
"$bin/sheet-reader" letters beans > letters.txt
"$bin/sheet-reader" letters beans | grep -q "Nothing new" || fail "letters were drafted twice: $(cat letters.txt)"
"$bin/sheet-reader" update beans > update.txt || fail "no update: $(cat update.txt)"
for file in own_words.md bean-tips-update-*.html bean-tips-update-*.pdf; do
    compgen -G "beans/updates/$file" > /dev/null || fail "the update left no $file"
done
# The end of the input is a stop: nothing may be answered by it.
"$bin/sheet-reader" review beans --pictures plain < /dev/null > review.txt || fail "review failed"
"$bin/sheet-reader" export beans --out thrice > /dev/null
cmp once/readings.csv thrice/readings.csv
"$bin/sheet-reader" verify beans > verify.txt || true
grep -q "all sound" verify.txt || fail "the record is not sound: $(cat verify.txt)"
"$bin/sheet-reader" backup beans copy.tar > /dev/null
tar -tf copy.tar > members.txt
grep -q "^record.sqlite$" members.txt || fail "the backup holds no record"
if "$bin/sheet-reader" read nowhere 2> error.txt; then fail "a missing study is no error"; fi
[ "$(wc -l < error.txt)" -eq 1 ] || fail "the error is not one line"
say "done"
