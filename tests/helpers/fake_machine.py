"""A machine with no commands but those that a test puts there, for the scripts in tools/."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

TOOLS = Path(__file__).parents[2] / "tools"


class FakeMachine:
    """A folder with `bin`, the only folder on the path, and `home`."""

    def __init__(self, folder: Path, *commands: str) -> None:
        self.bin, self.home = folder / "bin", folder / "home"
        self.bin.mkdir()
        self.home.mkdir()
        for command in ("bash", "env", *commands):  # all that a script itself needs
            real = shutil.which(command)
            assert real is not None
            (self.bin / command).symlink_to(real)

    def script(self, path: Path, body: str) -> Path:
        """Write an executable shell script."""
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"#!/usr/bin/env bash\n{body}\n")
        path.chmod(0o755)
        return path

    def run(self, tool: str, *arguments: str, **variables: str) -> tuple[int, str, str]:
        """Run a script of tools/; return exit code, output and messages."""
        environment = {"PATH": str(self.bin), "HOME": str(self.home), **variables}
        done = subprocess.run(
            [TOOLS / tool, *arguments], env=environment, capture_output=True, text=True, check=False
        )
        return done.returncode, done.stdout.strip(), done.stderr
