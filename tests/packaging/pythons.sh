#!/usr/bin/env bash
# Run the fast tests under each Python that is to be had: `pythons.sh UV [TESTS...]`.
# PYTHONS says which; what is not there is said and passed over, what fails fails in the end.
set -uo pipefail
uv="$1"
shift
failed=()
ran=()
for python in ${PYTHONS:-python3.11 python3.12 python3.13 python3.14}; do
  version=$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])' 2>/dev/null) || {
    echo "$python: not to be had here"
    continue
  }
  venv="build/pythons/$version"
  echo "=== Python $version"
  # A stamp says which lock file the environment was made from.
  if ! cmp -s requirements-dev.lock "$venv/made-from"; then
    rm -rf "$venv"
    { "$python" -m venv --without-pip "$venv" &&
      "$uv" pip install --quiet --python "$venv" --require-hashes -r requirements.lock \
        -r requirements-dev.lock &&
      "$uv" pip install --quiet --python "$venv" --no-deps --no-build-isolation -e . &&
      cp requirements-dev.lock "$venv/made-from"; } || {
      failed+=("$version")
      continue
    }
  fi
  "$venv/bin/python" -m pytest -q -p no:cacheprovider -m "not broker and not slow" "$@" ||
    failed+=("$version")
  ran+=("$version")
done
[ ${#failed[@]} -eq 0 ] || { echo "failed under: ${failed[*]}"; exit 1; }
[ ${#ran[@]} -gt 0 ] || { echo "no Python of those named is to be had"; exit 1; }
echo "all well under: ${ran[*]}"
