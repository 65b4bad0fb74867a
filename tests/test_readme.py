"""What the README shows is true: its case is one, its code runs, its pictures and links exist."""

import re
import tomllib
from pathlib import Path

import pytest

from fem.case import Case

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    found = re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)
    assert found
    return found


def test_case_is_the_ready_one():
    (text,) = blocks("toml")
    ready = Case.load(ROOT / "cases" / "greenhouse_wrist.toml")
    shown = tomllib.loads(text)
    other = {"name": "B", "angle": "-30 deg"}
    shown["threads"].append({**shown["threads"][0], **other})  # the README shows one family
    assert Case.parse(shown) == ready.changed(note="")


def test_code_runs(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    for code in blocks("python"):
        exec(code, {})
    assert "twist_deg" in capsys.readouterr().out


@pytest.mark.parametrize("target", re.findall(r"\]\((?!http)([^)]+)\)", README))
def test_what_is_linked_exists(target):
    assert (ROOT / target).exists()
