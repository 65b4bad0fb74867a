"""Try out everything that tubewright stands on, and say how to mend what fails.

The wheels bring DOLFINx, gmsh and VTK, but neither the display libraries these
load nor the C compiler that DOLFINx calls for each new form.  What is missing
then shows late, or as a crash without a word.  So each part is tried out at its
real work, all at once, each in a process of its own (`python -m fem.installation.check
NAME`): a crash or a hang of one becomes a finding like any other, with the
command that mends it.
"""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from fem.installation.probes import PROBES

# Shared library -> the Debian package that brings it.
MESH_LIBRARIES = {
    "libGLU.so.1": "libglu1-mesa",
    "libXrender.so.1": "libxrender1",
    "libXcursor.so.1": "libxcursor1",
    "libXft.so.2": "libxft2",
    "libXinerama.so.1": "libxinerama1",
    "libgomp.so.1": "libgomp1",
    "libGL.so.1": "libgl1",
}
PICTURE_LIBRARIES = {"libEGL.so.1": "libegl1", "libGL.so.1": "libgl1"}

REINSTALL = "run `make setup` again, or take DOLFINx from conda-forge (environment.yml)"


@dataclass(frozen=True)
class Finding:
    """What one probe found.

    Attributes
    ----------
    name, ok
        What was tried, and whether it works.
    found
        The versions seen, or the cause of the failure.
    remedy, packages
        What repairs it, and the Debian packages that are missing; empty when it works.
    """

    name: str
    ok: bool
    found: str
    remedy: str = ""
    packages: tuple[str, ...] = ()


def missing_packages(libraries: dict[str, str]) -> tuple[str, ...]:
    """Return the Debian packages whose shared library, the key of each, does not load here."""
    missing = []
    for library, package in libraries.items():
        try:
            ctypes.CDLL(library)
        except OSError:
            missing.append(package)
    return tuple(missing)


def install_line(packages: Sequence[str]) -> str:
    """Return the finished command that installs these Debian packages."""
    become = "" if os.geteuid() == 0 else "sudo "
    return f"{become}apt-get install -y {' '.join(packages)}"


def diagnose(key: str, cause: str) -> tuple[str, tuple[str, ...]]:
    """Return what repairs a failure of a probe of `PROBES`, and the Debian packages for it."""
    packages: tuple[str, ...] = ()
    otherwise = REINSTALL
    if key == "python":
        otherwise = "run `make setup PYTHON=...` with a newer Python (uv, pyenv, conda)"
    elif "No module named" in cause:
        pass  # a Python package is missing: no system package helps
    elif key == "gmsh":
        packages = missing_packages(MESH_LIBRARIES)
        if not packages and ".so" in cause:  # one that these bring along
            packages = tuple(MESH_LIBRARIES.values())
    elif key == "pictures":
        packages = missing_packages(PICTURE_LIBRARIES)
        if not packages:  # the front is there: then it is the driver behind it
            packages = ("libegl-mesa0", "libgl1-mesa-dri")
    elif key == "compiler" and "Python.h: No such file" in cause:
        packages = (f"python3.{sys.version_info.minor}-dev",)
    elif key == "compiler":
        packages = ("gcc", "libc6-dev")
        if os.environ.get("CC"):
            otherwise = "the variable CC names this compiler: unset it, or"
            return f"{otherwise} {install_line(packages)}", packages
    return (install_line(packages) if packages else otherwise), packages


def run_probe(key: str, timeout: float = 120.0, command: Sequence[str] | None = None) -> Finding:
    """Try one part in a process of its own and read how that ended.

    Parameters
    ----------
    key
        A key of `PROBES`.
    timeout
        Seconds after which the probe counts as hung; long, as the first import after an
        installation reads hundreds of MB.
    command
        What to run instead (for tests).
    """
    name = PROBES[key][0]
    try:
        done = subprocess.run(
            command or [sys.executable, "-m", "fem.installation.check", key],
            capture_output=True,
            text=True,
            errors="replace",
            stdin=subprocess.DEVNULL,
            timeout=timeout,
            check=False,
        )
    except subprocess.TimeoutExpired:
        cause = f"no answer within {timeout:g} s"
    else:
        if done.returncode == 0:
            return Finding(name, True, last_line(done.stdout))
        if done.returncode < 0:
            cause = f"crashed ({signal.Signals(-done.returncode).name})"
        else:
            cause = last_line(done.stderr) or f"ended with exit status {done.returncode}"
    remedy, packages = diagnose(key, cause)
    return Finding(name, False, cause, remedy, packages)


def last_line(text: str) -> str:
    """Return the last line that says something (libraries may chatter before it)."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[-1] if lines else ""


def check() -> list[Finding]:
    """Try everything at the same time; return the findings in the order that a reader expects."""
    with ThreadPoolExecutor(max_workers=max(2, os.cpu_count() or 1)) as pool:
        return list(pool.map(run_probe, PROBES))[::-1]


def report(findings: Sequence[Finding]) -> bool:
    """Print the findings, and how to repair what failed; return whether everything works."""
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False, soft_wrap=True)
    width = max((len(finding.name) for finding in findings), default=0)
    for finding in findings:
        word, style = ("ok", "green") if finding.ok else ("FAILS", "bold red")
        console.print(Text(f"{word:<6}", style), Text(f"{finding.name:<{width}}  {finding.found}"))
        if finding.remedy:
            console.print(Text(f"       -> {finding.remedy}", "yellow"))
    packages = list(dict.fromkeys(name for finding in findings for name in finding.packages))
    if packages:
        console.print("\nAll missing system packages in one line (Debian, Ubuntu; on a fresh")
        console.print("machine run apt-get update before it):")
        console.print(Text(f"    {install_line(packages)}", "bold"))
    return all(finding.ok for finding in findings)


def main(arguments: Sequence[str]) -> int:
    """Run the one probe that is named, or check and report all."""
    if not arguments:
        return 0 if report(check()) else 1
    print(PROBES[arguments[0]][1](), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
