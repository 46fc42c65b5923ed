#!/usr/bin/env bash
# All tests, or those that are named, with the Python that is named first.
#
# All of them run in three processes side by side: what computes, what looks at pages, packages and
# rights, and the rest, which mostly waits for brokers and servers. The accounts of the first two
# follow when the last one is through.
set -uo pipefail
cd "$(dirname "$0")/.."
python=$1
shift
if [ $# -gt 0 ]; then
  exec "$python" -m pytest "$@"
fi
computing=(tests/advisor tests/agent tests/contracts tests/fuzz tests/published tests/simulators)
looking=(tests/page tests/packaging tests/security)
accounts=$(mktemp -d)
"$python" -m pytest "${computing[@]}" advisor >"$accounts/computing" 2>&1 &
first=$!
"$python" -m pytest -p no:cacheprovider "${looking[@]}" >"$accounts/looking" 2>&1 &
second=$!
trap 'kill "$first" "$second" 2>/dev/null; rm -rf "$accounts"' EXIT
trap 'exit 130' INT TERM
others=("${computing[@]}" "${looking[@]}")
"$python" -m pytest -p no:cacheprovider "${others[@]/#/--ignore=}" tests
waiting=$?
wait "$first"
computed=$?
wait "$second"
looked=$?
cat "$accounts/computing" "$accounts/looking"
if [ "$waiting" -ne 0 ] || [ "$computed" -ne 0 ] || [ "$looked" -ne 0 ]; then
  echo "tests failed: exit $computed of those that compute, $looked of those that look, $waiting of the rest"
  exit 1
fi
