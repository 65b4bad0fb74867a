"""Mutation checks: with one wrong sign or factor in the mechanics, a test must fail.

`tools/mutants.toml` lists the mutants: a file, a text that occurs in it once, and its wrong
replacement. Each is applied to a copy of the repository. The tests named with the file run first,
which is quick; if they all pass, all quick tests and validations run. If these pass too, the mutant
has survived: no test checks what the line computes.

A mutation library would make thousands of mutants, with a minute of finite elements for each; those
here are chosen, one for each formula.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from tempfile import TemporaryDirectory
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import track

ROOT = Path(__file__).parent.parent
LIST = Path(__file__).with_suffix(".toml")

TIMEOUT = 3600
"""Seconds after which a mutant counts as detected, because the calculation does not end.

All quick tests take about ten minutes in one process, so no survivor reaches this limit.
"""

LIST_TEST = "tests/tools/test_mutants.py"
"""The test of this list, which would detect every mutant: its text is no longer in its file."""

PYTEST = ["-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "-p", "no:benchmark"]
FAILED, PASSED = 1, 0
"""Exit codes of pytest if a test fails, and if none does."""


class ListError(Exception):
    """The list cannot be used: a mutant does not fit, or the tests fail without any mutant."""


@dataclass(frozen=True)
class Mutant:
    """One wrong change.

    Attributes
    ----------
    name
        What is wrong.
    file
        Path from the root of the repository.
    right, wrong
        The text that occurs there once, and its replacement.
    tests
        The tests that run first.
    """

    name: str
    file: str
    right: str
    wrong: str
    tests: tuple[str, ...]

    def apply(self, text: str) -> str:
        """Return the text of the file with the wrong change."""
        found = text.count(self.right)
        if found != 1 or self.right == self.wrong:
            raise ListError(f'{self.file}, "{self.name}": its text occurs {found} times, not once')
        return text.replace(self.right, self.wrong)


@dataclass(frozen=True)
class MutantResult:
    """The result of a mutant: the test that failed, empty if it survived, and the seconds."""

    mutant: Mutant
    detected_by: str
    seconds: float

    def __str__(self) -> str:
        """Return the line that is printed."""
        by = self.detected_by or "SURVIVED"
        return f"{self.mutant.file}, {self.mutant.name}: {by} ({self.seconds:.0f} s)"


def listed() -> list[Mutant]:
    """Return all mutants; the text of each must occur once in its file."""
    files = tomllib.loads(LIST.read_text(encoding="utf-8"))["file"]
    mutants = [
        Mutant(file=file["path"], tests=tuple(file["tests"]), **mutant)
        for file in files
        for mutant in file["mutant"]
    ]
    for mutant in mutants:
        mutant.apply((ROOT / mutant.file).read_text(encoding="utf-8"))
    return mutants


def copied(folder: Path) -> Path:
    """Copy the files that git tracks or would add, in their current state; return the folder."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    names = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    for name in filter(None, names.split("\0")):
        if (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, folder / name)
    return folder


@contextmanager
def in_place(mutant: Mutant, tree: Path) -> Iterator[None]:
    """Apply the mutant to a copy of the repository, and undo it at the end."""
    file = tree / mutant.file
    right = file.read_text(encoding="utf-8")
    file.write_text(mutant.apply(right), encoding="utf-8")
    try:
        yield
    finally:
        file.write_text(right, encoding="utf-8")


def failing(tree: Path, tests: Sequence[str]) -> str:
    """Return the first test that fails in a copy, empty if none does.

    Raises
    ------
    ListError
        If pytest cannot run them.
    """
    # No bytecode: a mutant of equal size and time stamp would run that of the one before it.
    own = {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    single = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    try:
        ran = subprocess.run(
            [sys.executable, *PYTEST, f"--ignore={LIST_TEST}", *tests],
            cwd=tree,
            env=os.environ | own | single,
            capture_output=True,
            text=True,
            timeout=TIMEOUT,
        )
    except subprocess.TimeoutExpired:
        return f"not finished after {TIMEOUT} s"
    if ran.returncode not in (FAILED, PASSED):
        raise ListError(f"pytest {' '.join(tests)}\n{ran.stdout[-2000:]}{ran.stderr[-2000:]}")
    first = re.search(r"^(?:FAILED|ERROR) (\S+)", ran.stdout, re.MULTILINE)
    if ran.returncode == PASSED:
        return ""
    return first[1] if first else "a test without a name"


def tested(mutant: Mutant, tree: Path) -> MutantResult:
    """Return the result of a mutant in a copy.

    Raises
    ------
    ListError
        If the test that detects it fails without the mutant too.
    """
    start = time.perf_counter()
    with in_place(mutant, tree):
        detected_by = failing(tree, mutant.tests)
        later = "" if detected_by else failing(tree, [])
    if later and "::" in later and failing(tree, [later]):
        raise ListError(f"{later} fails without any mutant")
    return MutantResult(mutant, detected_by or later, time.perf_counter() - start)


def results(mutants: Sequence[Mutant], workers: int) -> Iterator[MutantResult]:
    """Yield the results of mutants, tested in one copy per worker.

    Raises
    ------
    ListError
        If a test fails without a mutant.
    """
    with TemporaryDirectory(prefix="mutants-") as folder, ThreadPoolExecutor(workers) as pool:
        trees: SimpleQueue[Path] = SimpleQueue()
        for number in range(workers):
            trees.put(copied(Path(folder) / str(number)))
        tree = trees.get()
        if broken := failing(tree, sorted({test for mutant in mutants for test in mutant.tests})):
            raise ListError(f"{broken} fails without any mutant")
        trees.put(tree)

        def test(mutant: Mutant) -> MutantResult:
            tree = trees.get()
            try:
                return tested(mutant, tree)
            finally:
                trees.put(tree)

        yield from pool.map(test, mutants)


def shard_of(mutants: Sequence[Mutant], shard: str) -> Sequence[Mutant]:
    """Return every N-th mutant from the K-th, for "K/N".

    Raises
    ------
    ListError
        If this is no shard.
    """
    first, count = map(int, shard.split("/")) if re.fullmatch(r"\d+/\d+", shard) else (0, 0)
    if not 1 <= first <= count:
        raise ListError(f"--shard {shard}: K/N with K from 1 to N, such as 2/4")
    return mutants[first - 1 :: count]


def main(
    parts: Annotated[list[str] | None, typer.Argument(help="Parts of names or files.")] = None,
    workers: Annotated[int, typer.Option(min=1, help="Number of processes.")] = 2,
    shard: Annotated[str, typer.Option(metavar="K/N", help="Every N-th, from the K-th.")] = "1/1",
) -> None:
    """Test all mutants, or those whose name or file contains one of PARTS.

    Exit code 0: all were detected; 1: some survived; 2: the list does not fit, or a test fails
    without a mutant.
    """
    console, found = Console(), []
    try:
        chosen = [
            mutant
            for mutant in shard_of(listed(), shard)
            if not parts or any(part in mutant.name + mutant.file for part in parts)
        ]
        if not chosen:
            wanted = ", ".join(parts or [])
            raise ListError(f"shard {shard}: no name or file contains one of {wanted}")
        testing = results(chosen, workers)
        for result in track(testing, "mutants", len(chosen), console=console):
            found.append(result)
            console.print(str(result), soft_wrap=True, markup=False, highlight=False)
    except ListError as error:
        console.print(str(error), soft_wrap=True, markup=False, highlight=False)
        raise typer.Exit(2) from None
    survivors = [result for result in found if not result.detected_by]
    console.print(f"{len(found)} mutants, {len(survivors)} survived")
    raise typer.Exit(1 if survivors else 0)


if __name__ == "__main__":
    typer.run(main)
