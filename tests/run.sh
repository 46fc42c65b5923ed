#!/usr/bin/env bash
# All tests, or those that are named, with the Python that is named first.
#
# All of them run in two processes side by side: what computes, and what mostly waits for brokers,
# servers and browsers. The first one's account follows when the second is through.
set -uo pipefail
cd "$(dirname "$0")/.."
python=$1
shift
if [ $# -gt 0 ]; then
  exec "$python" -m pytest "$@"
fi
computing=(tests/advisor tests/agent tests/contracts tests/fuzz tests/published tests/simulators)
account=$(mktemp)
"$python" -m pytest "${computing[@]}" advisor >"$account" 2>&1 &
beside=$!
trap 'kill "$beside" 2>/dev/null; rm -f "$account"' EXIT
trap 'exit 130' INT TERM
"$python" -m pytest -p no:cacheprovider "${computing[@]/#/--ignore=}" tests
waiting=$?
wait "$beside"
computed=$?
cat "$account"
if [ "$waiting" -ne 0 ] || [ "$computed" -ne 0 ]; then
  echo "tests failed: exit $computed of those that compute, $waiting of the others"
  exit 1
fi
