"""Test the packages and libraries that tubewright needs, and print how to fix what fails.

The wheels contain DOLFINx, gmsh and VTK, but not the display libraries that these load, nor the C
compiler that DOLFINx calls for each new form. Without these, programs fail late or crash without a
message. So each part is tested in a separate process (`python -m fem.installation.check NAME`), all
at once: a crash or a hang is reported like any other failure, with the command that fixes it.
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

# Shared library -> its Debian package.
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

REINSTALL = "run `make setup` again, or install DOLFINx from conda-forge (environment.yml)"


@dataclass(frozen=True)
class Finding:
    """Result of one probe.

    Attributes
    ----------
    name, ok
        The tested part, and whether it works.
    found
        The versions found, or the cause of the failure.
    remedy, packages
        How to fix it, and the missing Debian packages; empty if it works.
    """

    name: str
    ok: bool
    found: str
    remedy: str = ""
    packages: tuple[str, ...] = ()


def missing_packages(libraries: dict[str, str]) -> tuple[str, ...]:
    """Return the Debian packages whose shared library (the key) cannot be loaded."""
    missing = []
    for library, package in libraries.items():
        try:
            ctypes.CDLL(library)
        except OSError:
            missing.append(package)
    return tuple(missing)


def install_line(packages: Sequence[str]) -> str:
    """Return the command that installs Debian packages."""
    become = "" if os.geteuid() == 0 else "sudo "
    return f"{become}apt-get install -y {' '.join(packages)}"


def diagnose(key: str, cause: str) -> tuple[str, tuple[str, ...]]:
    """Return how to fix a failure of a probe of `PROBES`, and the Debian packages for it."""
    packages: tuple[str, ...] = ()
    otherwise = REINSTALL
    if key == "python":
        otherwise = "run `make setup PYTHON=...` with a newer Python (uv, pyenv, conda)"
    elif "No module named" in cause:
        pass  # a Python package is missing: no system package helps
    elif key == "gmsh":
        packages = missing_packages(MESH_LIBRARIES)
        if not packages and ".so" in cause:  # a dependency of these
            packages = tuple(MESH_LIBRARIES.values())
    elif key == "pictures":
        packages = missing_packages(PICTURE_LIBRARIES)
        if not packages:  # the libraries are installed, so the driver is missing
            packages = ("libegl-mesa0", "libgl1-mesa-dri")
    elif key == "compiler" and "Python.h: No such file" in cause:
        packages = (f"python3.{sys.version_info.minor}-dev",)
    elif key == "compiler":
        packages = ("gcc", "libc6-dev")
        if os.environ.get("CC"):
            otherwise = "the environment variable CC sets this compiler: unset it, or"
            return f"{otherwise} {install_line(packages)}", packages
    return (install_line(packages) if packages else otherwise), packages


def run_probe(key: str, timeout: float = 120.0, command: Sequence[str] | None = None) -> Finding:
    """Test one part in a separate process.

    Parameters
    ----------
    key
        A key of `PROBES`.
    timeout
        Time limit (s); long, since the first import after an installation reads hundreds of MB.
    command
        Command to run instead (for tests).
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
    """Return the last line that is not blank; libraries may print others before it."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[-1] if lines else ""


def check() -> list[Finding]:
    """Test all parts at the same time; return the findings in the order of the report."""
    with ThreadPoolExecutor(max_workers=max(2, os.cpu_count() or 1)) as pool:
        return list(pool.map(run_probe, PROBES))[::-1]


def report(findings: Sequence[Finding]) -> bool:
    """Print the findings, and how to fix what failed; return whether everything works."""
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
    """Run the probe with the given name, or check and report all."""
    if not arguments:
        return 0 if report(check()) else 1
    print(PROBES[arguments[0]][1](), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
