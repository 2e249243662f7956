#!/usr/bin/env bash
# Everything that must hold, on a fresh machine with Python 3.11 or newer:
#
#     bash tests/run.sh                      lint, types, tests on two workers, then the benchmarks one by one
#     bash tests/run.sh tests/geometry -x    anything added goes to pytest; then only the tests are run
#
# Makes its own environment in .venv-test, and makes it anew when pyproject.toml changes. CI=true runs the full number
# of generated examples. Every stage runs; the exit status is 0 only if all of them passed.
set -uo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.." || exit 2

VENV=.venv-test
PY=$VENV/bin/python

say() { printf '\n== %s\n' "$*"; }
stop() { printf 'tests/run.sh: %s\n' "$*" >&2; exit 2; }

as_root_on_debian() { [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; }

install_packages() {
  DEBIAN_FRONTEND=noninteractive apt-get update -qq &&
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >/dev/null
}

find_python() {
  local name
  for name in python3 python3.13 python3.12 python3.11 python; do
    if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
      echo "$name"
      return
    fi
  done
  return 1
}

make_environment() {
  local python stamp
  python=$(find_python) || stop "needs Python 3.11 or newer on the PATH as python3; install it (Debian: apt-get install python3 python3-venv)"
  stamp=$("$python" -c 'import hashlib, sys; print(sys.version, hashlib.sha256(open("pyproject.toml", "rb").read()).hexdigest())')
  if [ -x "$PY" ] && [ "$(cat $VENV/made-from 2>/dev/null)" = "$stamp" ]; then
    return
  fi
  say "environment $VENV ($("$python" --version))"
  rm -rf "$VENV"
  if ! "$python" -m venv "$VENV" >/dev/null 2>&1; then
    as_root_on_debian || stop "this Python cannot make environments; install its venv module (Debian: apt-get install python3-venv)"
    install_packages python3-venv && rm -rf "$VENV" && "$python" -m venv "$VENV" || stop "python3 -m venv fails even with python3-venv installed"
  fi
  "$PY" -m pip install --quiet --disable-pip-version-check --editable '.[test]' || stop "pip could not install the package with its test extra"
  if ! "$PY" -c 'import cadquery' 2>/dev/null; then
    local missing="libgl1 libx11-6 libxrender1 libxext6 libexpat1"
    as_root_on_debian || stop "the CAD kernel lacks system libraries; install them (Debian: apt-get install $missing)"
    # shellcheck disable=SC2086
    install_packages $missing && "$PY" -c 'import cadquery' || stop "the CAD kernel cannot be imported"
  fi
  echo "$stamp" >"$VENV/made-from"
}

failed=()
stage() {
  local name=$1 began=$SECONDS
  shift
  say "$name"
  if "$@"; then
    echo "   $name: passed in $((SECONDS - began)) s"
  else
    echo "   $name: FAILED (status $?) after $((SECONDS - began)) s"
    failed+=("$name")
  fi
}

# The pages are tried in a real browser, and the viewer they hold is bundled anew and compared.
make_browser() {
  local missing=()
  [ -x /usr/bin/chromium ] || missing+=(chromium)
  command -v npm >/dev/null || missing+=(nodejs npm)
  [ ${#missing[@]} -gt 0 ] || return 0
  as_root_on_debian || stop "the page tests need ${missing[*]}; install them (Debian: apt-get install ${missing[*]})"
  say "packages ${missing[*]}"
  install_packages "${missing[@]}" || stop "apt-get could not install ${missing[*]}"
}

make_environment
make_browser
export PYTHONPATH=$PWD  # the checkout, whatever else is installed

if [ $# -gt 0 ]; then
  stage "tests" "$PY" -m pytest "$@"
else
  stage "lint" "$PY" -m ruff check .
  stage "types" "$PY" -m mypy
  stage "tests" "$PY" -m pytest -n 2 --dist worksteal --benchmark-disable --ignore tests/bench
  stage "benchmarks" "$PY" -m pytest tests/bench
fi

if [ ${#failed[@]} -gt 0 ]; then
  say "failed: ${failed[*]}"
  exit 1
fi
say "all passed in $SECONDS s"
