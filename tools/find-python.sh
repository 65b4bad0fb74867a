#!/usr/bin/env bash
# Print the path of a Python that tubewright runs on, or the command that installs one.
#
#     tools/find-python.sh            the first that fits, see `candidates`
#     PYTHON=... tools/find-python.sh  that one or none
#
# The limits: at least 3.12, and older than 3.15 (no wheels for it yet).
set -u
oldest=12
newest=14
preferred=13

# Run by a candidate.  The last word is the interpreter behind a shim, a link or
# an active virtual environment, so that no .venv is ever built upon itself.
probe='import sys
try:
    import ensurepip, venv
    lacks = "nothing"
    import ctypes, sqlite3, ssl
except ImportError as problem:
    lacks = (problem.name or "?").lstrip("_")
kind = sys.implementation.name
if "free-threading" in sys.version:
    kind = "free-threaded"
base = getattr(sys, "_base_executable", None) or sys.executable
print(*sys.version_info[:2], kind, lacks, base)'

rejected=""

# Does $1 really run, and does it fit?  Then set `found`.
fits() {
    local answer major minor kind lacks base
    # A pyenv shim for a version that is not switched on exists, but fails.
    answer=$("$1" -I -c "$probe" 2>/dev/null </dev/null) || { reject "$1" "does not run"; return 1; }
    read -r major minor kind lacks base <<<"$answer"
    if ! [[ "$major.$minor" =~ ^[0-9]+\.[0-9]+$ && -n "$base" ]]; then
        reject "$1" "is not a Python interpreter"
    elif [ "$major" -ne 3 ] || [ "$minor" -lt "$oldest" ] || [ "$minor" -gt "$newest" ]; then
        reject "$1" "is Python $major.$minor"
    elif [ "$kind" != cpython ]; then
        reject "$1" "is a $kind build, for which there are no wheels"
    elif [ "$lacks" = ensurepip ] || [ "$lacks" = venv ]; then
        reject "$1" "lacks the module venv (Debian: apt-get install python$major.$minor-venv)"
    elif [ "$lacks" != nothing ]; then
        reject "$1" "lacks the module $lacks: build it again with that library, or use another Python"
    else
        found=$base
        return 0
    fi
    return 1
}

reject() { rejected+="    $1 $2"$'\n'; }

# One candidate a line, best first.
candidates() {
    local name folder
    for name in python3.14 python3.13 python3.12 python3 python; do
        command -v "$name"
    done
    folder=${PYENV_ROOT:-${HOME:-}/.pyenv}/versions
    printf '%s\n' "$folder"/3.1[234]*/bin/python | sort -rV
    folder=${UV_PYTHON_INSTALL_DIR:-${XDG_DATA_HOME:-${HOME:-}/.local/share}/uv/python}
    printf '%s\n' "$folder"/cpython-3.1[234]*/bin/python3 | sort -rV
    if command -v uv >/dev/null; then
        uv python find --no-project ">=3.$oldest,<3.$((newest + 1))" 2>/dev/null </dev/null
    fi
}

if [ -n "${PYTHON:-}" ]; then
    fits "$PYTHON" && { echo "$found"; exit 0; }
else
    while IFS= read -r candidate; do
        [ -x "$candidate" ] || continue
        fits "$candidate" && { echo "$found"; exit 0; }
    done < <(candidates 2>/dev/null)
fi

# The command that installs a suitable Python on this machine.
remedy() {
    local become="sudo " version
    [ "$(id -u)" -ne 0 ] || become=""
    if command -v uv >/dev/null; then
        echo "uv python install 3.$preferred"
    elif command -v pyenv >/dev/null; then
        echo "pyenv install 3.$preferred"
    elif command -v apt-get >/dev/null; then
        version=$(apt-cache policy python3 2>/dev/null | sed -n 's/^ *Candidate: 3\.\([0-9]*\).*/\1/p')
        if [ "${version:-0}" -ge "$oldest" ] && [ "$version" -le "$newest" ]; then
            echo "${become}apt-get install -y python3 python3-venv"
        else # Debian 12 has Python 3.11; uv, from PyPI, installs a newer one into the home folder
            echo "${become}apt-get update && ${become}apt-get install -y pipx && pipx run uv python install 3.$preferred"
        fi
    elif command -v conda >/dev/null; then
        echo "conda env create -f environment.yml     (then use its tubewright instead of make)"
    else
        echo "python3 -m pip install --user uv && python3 -m uv python install 3.$preferred"
    fi
}

{
    echo "tubewright needs Python 3.$oldest to 3.$newest, and none was found${PYTHON:+ under PYTHON=$PYTHON}."
    [ -z "$rejected" ] || printf 'Found, but not suitable:\n%s' "$rejected"
    echo "To install one, run this line, then make again:"
    echo "    $(remedy)"
    echo "Or name one that is elsewhere: make setup PYTHON=/path/to/python3.$preferred"
} >&2
exit 1
