#!/usr/bin/env bash
# Drives the interface from its own description with schemathesis (PyPI; tried with 4.x) and
# fails when an answer is a 5xx or is not as described.
#   interface.sh http://127.0.0.1:7373 TOKEN [more options of schemathesis]
# The token needs every scope; a studio to try things in is best, for clients and payments are added.
# A token may make 120 requests in a minute, so a run takes its time.
set -euo pipefail
base=$1 token=$2
shift 2
exec schemathesis run "$base/api/v1/openapi.json" --url "$base" \
  --header "Authorization: Bearer $token" --rate-limit 110/m \
  --checks not_a_server_error,status_code_conformance,content_type_conformance,response_schema_conformance "$@"
