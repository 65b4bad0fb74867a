"""Mutation checks: one sign or factor of the mechanics made wrong, some test must fail.

`tools/mutants.toml` lists the mutants: a file, the text that stands in it once, and what is put in
its place. Each is set into a copy of the repository. The tests named with the file run there first,
which is quick; what they do not notice is held against all quick tests and validations. A mutant
that nothing notices has survived: something computes what no test looks at.

A mutation library would make thousands of mutants of every line, at a minute of finite elements
each; those here are chosen, one to each formula.
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

LONGEST = 3600
"""Seconds after which a mutant counts as noticed: it goes round in circles.

All quick tests take some ten minutes in one process, so no survivor is taken for one.
"""

OWN = "tests/tools/test_mutants.py"
"""A test of this list: it would notice every mutant, whose text no longer stands in its file."""

PYTEST = ["-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "-p", "no:benchmark"]
NOTICED, UNNOTICED = 1, 0
"""What pytest returns where a test fails, and where none does."""


class ListError(Exception):
    """The list cannot be used: of a mutant, or because the tests fail without any."""


@dataclass(frozen=True)
class Mutant:
    """One wrong.

    Attributes
    ----------
    name
        What is wrong.
    file
        Where, from the root of the repository.
    right, wrong
        The text that stands there once, and what is put in its place.
    tests
        The tests that run first.
    """

    name: str
    file: str
    right: str
    wrong: str
    tests: tuple[str, ...]

    def set_into(self, text: str) -> str:
        """Return the text of the file with the wrong in it."""
        found = text.count(self.right)
        if found != 1 or self.right == self.wrong:
            raise ListError(
                f'{self.file}, "{self.name}": its text is found {found} times, not once'
            )
        return text.replace(self.right, self.wrong)


@dataclass(frozen=True)
class Verdict:
    """What became of a mutant: the test that failed, none if it survived, and the seconds."""

    mutant: Mutant
    noticed_by: str
    seconds: float

    def __str__(self) -> str:
        """Return what is shown of it."""
        by = self.noticed_by or "SURVIVED"
        return f"{self.mutant.file}, {self.mutant.name}: {by} ({self.seconds:.0f} s)"


def listed() -> list[Mutant]:
    """Return all mutants; each must fit its file."""
    files = tomllib.loads(LIST.read_text(encoding="utf-8"))["file"]
    mutants = [
        Mutant(file=file["path"], tests=tuple(file["tests"]), **mutant)
        for file in files
        for mutant in file["mutant"]
    ]
    for mutant in mutants:
        mutant.set_into((ROOT / mutant.file).read_text(encoding="utf-8"))
    return mutants


def copied(folder: Path) -> Path:
    """Return a copy of the files that git knows or would take, as they stand now."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    names = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    for name in filter(None, names.split("\0")):
        if (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, folder / name)
    return folder


@contextmanager
def in_place(mutant: Mutant, tree: Path) -> Iterator[None]:
    """Hold the wrong in a copy of the repository."""
    file = tree / mutant.file
    right = file.read_text(encoding="utf-8")
    file.write_text(mutant.set_into(right), encoding="utf-8")
    try:
        yield
    finally:
        file.write_text(right, encoding="utf-8")


def failing(tree: Path, tests: Sequence[str]) -> str:
    """Return the first test of a copy that fails, empty if none does.

    Raises
    ------
    ListError
        If pytest cannot run them.
    """
    own = {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}  # two wrongs, one time stamp
    single = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    try:
        ran = subprocess.run(
            [sys.executable, *PYTEST, f"--ignore={OWN}", *tests],
            cwd=tree,
            env=os.environ | own | single,
            capture_output=True,
            text=True,
            timeout=LONGEST,
        )
    except subprocess.TimeoutExpired:
        return f"no end after {LONGEST} s"
    if ran.returncode not in (NOTICED, UNNOTICED):
        raise ListError(f"pytest {' '.join(tests)}\n{ran.stdout[-2000:]}{ran.stderr[-2000:]}")
    first = re.search(r"^(?:FAILED|ERROR) (\S+)", ran.stdout, re.MULTILINE)
    if ran.returncode == UNNOTICED:
        return ""
    return first[1] if first else "a test that pytest does not name"


def judged(mutant: Mutant, tree: Path) -> Verdict:
    """Return what becomes of a mutant in a copy.

    Raises
    ------
    ListError
        If what notices it beyond its own tests fails without it as well.
    """
    start = time.perf_counter()
    with in_place(mutant, tree):
        noticed_by = failing(tree, mutant.tests)
        beyond = "" if noticed_by else failing(tree, [])
    if beyond and "::" in beyond and failing(tree, [beyond]):
        raise ListError(f"{beyond} fails without any mutant")
    return Verdict(mutant, noticed_by or beyond, time.perf_counter() - start)


def verdicts(mutants: Sequence[Mutant], workers: int) -> Iterator[Verdict]:
    """Judge mutants in as many copies as there are workers, after the tests without any.

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

        def judge(mutant: Mutant) -> Verdict:
            tree = trees.get()
            try:
                return judged(mutant, tree)
            finally:
                trees.put(tree)

        yield from pool.map(judge, mutants)


def main(
    parts: Annotated[list[str] | None, typer.Argument(help="Parts of names or files.")] = None,
    workers: Annotated[int, typer.Option(min=1, help="Number of processes.")] = 2,
) -> None:
    """Judge all mutants, or those whose name or file has one of PARTS in it.

    Exit code 0: all were noticed; 1: some survived; 2: the list or the tests are broken.
    """
    console, found = Console(), []
    try:
        chosen = [
            mutant
            for mutant in listed()
            if not parts or any(part in mutant.name + mutant.file for part in parts)
        ]
        if not chosen:
            raise ListError(f"no mutant has one of {', '.join(parts or [])} in its name or file")
        judging = verdicts(chosen, workers)
        for verdict in track(judging, "judging", len(chosen), console=console):
            found.append(verdict)
            console.print(str(verdict), soft_wrap=True, markup=False, highlight=False)
    except ListError as error:
        console.print(str(error), soft_wrap=True, markup=False, highlight=False)
        raise typer.Exit(2) from None
    survivors = [verdict for verdict in found if not verdict.noticed_by]
    console.print(f"{len(found)} mutants, {len(survivors)} survived")
    raise typer.Exit(1 if survivors else 0)


if __name__ == "__main__":
    typer.run(main)
