#!/usr/bin/env bash
# Install what is missing of Debian's packages: `install.sh venv PYTHON` or `install.sh servers`.
# As root or with sudo; otherwise it prints the line to run and exits 1.
set -euo pipefail
export PATH="$PATH:/usr/sbin:/sbin"

missing=()
case "$1" in
  venv)
    # Debian splits the module that makes virtual environments off Python.
    "$2" -c 'import ensurepip, venv' 2>/dev/null || missing+=(python3-venv)
    ;;
  servers)
    command -v mosquitto >/dev/null || missing+=(mosquitto)
    command -v mosquitto_pub >/dev/null || missing+=(mosquitto-clients)
    command -v chromium >/dev/null || missing+=(chromium)
    command -v victoria-metrics >/dev/null || missing+=(victoria-metrics)
    command -v systemd-analyze >/dev/null || missing+=(systemd)
    command -v openssl >/dev/null || missing+=(openssl)
    ;;
esac
[ ${#missing[@]} -gt 0 ] || exit 0

install="apt-get install -y --no-install-recommends ${missing[*]}"
if [ "$(id -u)" = 0 ]; then
  apt-get update -q
  DEBIAN_FRONTEND=noninteractive $install
elif command -v sudo >/dev/null && sudo -n true 2>/dev/null; then
  sudo apt-get update -q
  sudo DEBIAN_FRONTEND=noninteractive $install
else
  echo "Missing: ${missing[*]}. Run this, then try again:"
  echo "  sudo apt-get update && sudo $install"
  exit 1
fi
