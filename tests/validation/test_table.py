"""What the repository says of the book is what the checks found, and of all of them."""

import re
import subprocess
import sys
from collections import Counter

import pytest

from validation.book import FOLDER, chapters
from validation.renew import PLACE, README, TABLE, summary_of, with_summary
from validation.run import WHOLE

TEXT = TABLE.read_text(encoding="utf-8")


def test_readme_has_the_summary_of_the_table():
    (said,) = PLACE.findall(README.read_text(encoding="utf-8"))
    assert said == summary_of(TEXT)


def test_summary_counts_the_figures_of_the_table():
    figures = {"FE": 0, "fast": 0}
    total = 0
    for line in TEXT.splitlines():
        cells = [cell.strip() for cell in re.split(r"(?<!\\)\|", line.strip("|"))]
        if not line.startswith("|") or cells[0] in ("source", "") or set(cells[0]) <= set(":-"):
            continue
        _, _, expected, fe, fast, *_ = cells
        assert expected
        figures["FE"] += bool(fe)
        figures["fast"] += bool(fast)
        total += 1
    said = [int(n.replace(",", "")) for n in re.findall(r"[\d,]*\d", summary_of(TEXT))]
    assert said[2:] == [figures["FE"], figures["fast"]]
    assert said[1] == len(re.findall("^## ", TEXT, re.MULTILINE))
    assert total <= said[0] <= total + figures["fast"]
    assert "OFF" not in TEXT and "broke down" not in TEXT


def test_table_has_all_chapters_and_all_their_checks():
    """Of each chapter as many as pytest finds now."""
    command = [sys.executable, "-m", "pytest", "validation", "--collect-only", "-q", "-m", WHOLE]
    listed = subprocess.run(
        command, cwd=FOLDER.parent, capture_output=True, text=True, check=True
    ).stdout
    found = Counter(re.findall(r"^validation/test_(\w+)\.py::", listed, re.MULTILINE))
    told = re.findall(r"^`validation/test_(\w+)\.py`\. .* (\d+) checks?\.$", TEXT, re.MULTILINE)
    assert {name: int(count) for name, count in told} == dict(found)
    assert set(found) == set(chapters())


def test_summary_takes_the_place_of_an_older_one():
    text = "before\n<!-- summary of the validation -->\nold\n<!-- end -->\nafter\n"
    assert with_summary(text, "new") == text.replace("old", "new")
    with pytest.raises(ValueError, match="0 places"):
        with_summary("nothing", "new")
