#!/usr/bin/env bash
# Tells how much memory an export takes while it streams: adds pieces to a database until there
# are 100 000, fetches data sets, and watches the program's resident memory.
#   DATABASE=postgres://… export_memory.sh http://127.0.0.1:7373 LOGIN PASSWORD PID
# For a database that may be filled with nonsense; PID is that of the program which serves it.
set -euo pipefail
base=$1 login=$2 password=$3 pid=$4
psql -q "$DATABASE" <<'SQL'
INSERT INTO pieces (id, order_id, order_line_id, n, label, created_at, changed_at)
SELECT gen_random_uuid(), l.order_id, l.id, 1000 + n, 'bulk-' || n, now(), now()
FROM generate_series(1, 100000 - (SELECT count(*)::int FROM pieces)) n,
     (SELECT id, order_id FROM order_lines ORDER BY id LIMIT 1) l;
INSERT INTO attempts (id, piece_id, n, begun_at)
SELECT gen_random_uuid(), p.id, 1, now() FROM pieces p
WHERE NOT EXISTS (SELECT 1 FROM attempts a WHERE a.piece_id = p.id);
SQL
jar=$(mktemp)
trap 'rm -f "$jar"' EXIT
curl -sS -o /dev/null -c "$jar" --data-urlencode "login=$login" --data-urlencode "password=$password" "$base/sign-in"
memory() { awk '/^VmRSS/ { print $2 }' "/proc/$pid/status"; }
for file in pieces.csv pieces.json everything.json; do
  before=$(memory) most=0
  curl -sS -b "$jar" -o /dev/null -w "$file: %{size_download} bytes in %{time_total} s\n" "$base/exports/$file" &
  fetching=$!
  while kill -0 "$fetching" 2>/dev/null; do
    now=$(memory)
    if ((now > most)); then most=$now; fi
    sleep 0.05
  done
  wait "$fetching"
  echo "  resident before $before kB, at most $most kB while it streamed"
done
