#!/usr/bin/env bash
# Build what a release consists of into a folder: `release.sh PYTHON FOLDER`. Uploads nothing.
set -euo pipefail
python="$1"
mkdir -p "$2"
dist="$(cd "$2" && pwd)"
[ -z "$(ls -A "$dist")" ] || { echo "$2 is not empty"; exit 1; }
version=$("$python" -c 'from agent.version import VERSION; print(VERSION)')

# The same tree gives the same bytes: files carry the time of the last commit.
if stamp=$(git log -1 --format=%ct 2>/dev/null); then export SOURCE_DATE_EPOCH="$stamp"; fi

"$python" -m hatchling build -d "$dist" -t sdist -t wheel
"$python" -m cyclonedx_py requirements requirements.lock --pyproject pyproject.toml \
  --mc-type application --output-reproducible --of JSON -o "$dist/millpond-$version.cdx.json"
NO_MKDOCS_2_WARNING=1 "$python" -m mkdocs build --strict --quiet --site-dir "$dist/site"
tar -C "$dist" --sort=name --owner=0 --group=0 --numeric-owner \
  --mtime="@${SOURCE_DATE_EPOCH:-0}" --transform "s,^site,millpond-$version-docs," \
  -czf "$dist/millpond-$version-docs.tar.gz" site
rm -rf "$dist/site"
(cd "$dist" && sha256sum millpond-* > SHA256SUMS && cat SHA256SUMS)
