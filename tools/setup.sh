#!/usr/bin/env bash
# Install missing system packages, make .venv (the locked packages and this project), check all.
# Called by `make setup`, which skips it while .venv/.ready is up to date.
set -euo pipefail
cd "$(dirname "$0")/.."
here=$(pwd -P)
export PIP_DISABLE_PIP_VERSION_CHECK=1 PYTHONUTF8=1
unset PYTHONHOME PYTHONPATH VIRTUAL_ENV

# .ready       written last: the set-up is complete
# .unfinished  present while packages are being written: if it is there at the start, an earlier
#              set-up was interrupted and the folder is made again
ready=.venv/.ready
unfinished=.venv/.unfinished
began=$SECONDS

if [ "$(uname -sm)" != "Linux x86_64" ]; then
    echo "requirements.lock is for Linux x86_64; on this machine ($(uname -sm)) use environment.yml." >&2
    exit 1
fi

tools/system-packages.sh

# Keep the interpreter of a .venv that is there, unless another is named by PYTHON=.
python=""
if [ -z "${PYTHON:-}" ]; then
    python=$(PYTHON=.venv/bin/python tools/find-python.sh 2>/dev/null || true)
fi
[ -n "$python" ] || python=$(tools/find-python.sh)

# Can this .venv be updated?  It must use that interpreter, and it must have been made in this
# folder (a copied .venv still points to the old folder).  Otherwise it is made again.
usable() {
    [ ! -e "$unfinished" ] &&
        grep -qsF "$here/.venv/" .venv/bin/pip &&
        [ "$(readlink -f .venv/bin/python)" = "$(readlink -f "$python")" ] &&
        .venv/bin/python -m pip --version >/dev/null 2>&1
}

rm -f "$ready"
if ! usable; then
    rm -rf .venv
    mkdir .venv
    touch "$unfinished"
    echo "making .venv with $("$python" --version) ($python)"
    "$python" -m venv .venv
fi

echo "installing requirements.lock (about a minute when nothing is cached)"
touch "$unfinished"
.venv/bin/python -m pip install -q --no-deps -r requirements.lock </dev/null
.venv/bin/python -m pip install -q --no-deps --no-build-isolation -e . </dev/null
.venv/bin/python -m pip check | { grep -v '^No broken' || true; } # is the lock file whole?
rm -f "$unfinished"

.venv/bin/tubewright check-install </dev/null
touch "$ready"
echo "set up in $((SECONDS - began)) s"
