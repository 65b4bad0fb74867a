#!/usr/bin/env bash
# Write requirements.lock: the newest releases that pyproject.toml allows, as pip
# resolves them in an empty environment.  Called by `make lock`.
set -euo pipefail
cd "$(dirname "$0")/.."
export PIP_DISABLE_PIP_VERSION_CHECK=1

python=$(tools/find-python.sh)
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
"$python" -m venv "$scratch/venv"
pip="$scratch/venv/bin/python -m pip"

# Only the requirements are wanted, not the project, so list them from the file.
"$scratch/venv/bin/python" - >"$scratch/wanted.txt" <<'PY'
import tomllib

with open("pyproject.toml", "rb") as file:
    project = tomllib.load(file)["project"]
groups = [project["dependencies"], *project["optional-dependencies"].values()]
print(*(line for group in groups for line in group), sep="\n")
PY
$pip install -q -r "$scratch/wanted.txt" </dev/null

{
    echo "# Every package of the tested set-up (runtime, solver, dev), for Linux x86_64 and"
    echo "# Python 3.12 to 3.14.  Made by \`make lock\` from pyproject.toml: do not edit."
    $pip freeze --exclude pip
} >"$scratch/lock"
if grep -nE '://| @ |^-e' "$scratch/lock"; then
    echo "a package came from an address, not from a registry: the lock file is left as it was" >&2
    exit 1
fi
cp "$scratch/lock" requirements.lock
echo "requirements.lock: $(grep -c == requirements.lock) packages; now run make test"
