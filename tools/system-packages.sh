#!/usr/bin/env bash
# Install the Debian packages that the Python packages need and that this machine lacks.
#
#     tools/system-packages.sh             what tubewright itself needs (called by make setup)
#     tools/system-packages.sh --tests     also what tests of pages and windows need (called by .ci/run)
#
# Root installs them, and so does a user whose sudo asks for no password.  Elsewhere the script
# prints the command to run and fails, before anything is downloaded.
set -euo pipefail
PATH="$PATH:/usr/sbin:/sbin" # ldconfig

# A shared library or a command, and the package that contains it.
needed="
libGLU.so.1       libglu1-mesa
libXrender.so.1   libxrender1
libXcursor.so.1   libxcursor1
libXft.so.2       libxft2
libXinerama.so.1  libxinerama1
libgomp.so.1      libgomp1
libEGL.so.1       libegl1
libGL.so.1        libgl1
libsqlite3.so.0   libsqlite3-0
libssl.so.3       libssl3
make              make
"
# The last two libraries are those of a Python that was built on the machine (pyenv).

present=$(ldconfig -p 2>/dev/null || true)
has_library() {
    local folder
    [[ $present == *"$1 (libc6,x86-64"* ]] && return # not that of 32 bits
    while IFS= read -r -d : folder; do
        [ -n "$folder" ] && [ -e "$folder/$1" ] && return
    done <<<"${LD_LIBRARY_PATH:-}:"
    return 1
}
has_compiler() { "${CC:-gcc}" -E -x c - <<<'#include <stdio.h>' >/dev/null 2>&1; }
has_browser() { command -v chromium || command -v chromium-browser || command -v google-chrome; }

missing=()
while read -r file package; do
    case $file in
    "") continue ;;
    lib*) has_library "$file" || missing+=("$package") ;;
    *) command -v "$file" >/dev/null || missing+=("$package") ;;
    esac
done <<<"$needed"
has_compiler || missing+=(gcc libc6-dev)
if [ "${1:-}" = --tests ]; then
    has_browser >/dev/null || missing+=(chromium)
    command -v Xvfb >/dev/null || missing+=(xvfb)
    command -v xdotool >/dev/null || missing+=(xdotool)
fi
[ "${#missing[@]}" -gt 0 ] || exit 0

if ! command -v apt-get >/dev/null; then
    echo "These packages are missing (names of Debian): ${missing[*]}" >&2
    echo "Install the packages of this system that contain the same, then run make again." >&2
    exit 1
fi
become=()
if [ "$(id -u)" -ne 0 ]; then
    if ! sudo -n true 2>/dev/null; then
        echo "System packages are missing. Run this line, then make again:" >&2
        echo "    sudo apt-get update && sudo apt-get install -y ${missing[*]}" >&2
        exit 1
    fi
    become=(sudo -n)
fi

echo "installing the missing system packages by apt-get: ${missing[*]}"
install() {
    "${become[@]}" env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -qq --no-install-recommends "${missing[@]}" </dev/null
}
# The package lists may be absent or old: update them only if the first attempt fails.
if ! install >/dev/null 2>&1; then
    "${become[@]}" apt-get update -qq >/dev/null </dev/null || true
    if ! messages=$(install 2>&1); then
        echo "$messages" | tail -n 5 >&2
        echo "apt-get could not install: ${missing[*]}" >&2
        exit 1
    fi
fi
