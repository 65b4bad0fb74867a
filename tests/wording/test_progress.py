"""Bars on standard error: one to each task, in the order in which they are first named."""

import io

from rich.console import Console
from rich.text import Text

from fem.wording.progress import Bars


def lines(bars):
    """Return what bars show, line by line."""
    console = Console(file=io.StringIO(), width=100)
    for part in bars.get_renderables():
        console.print(part)
    return console.file.getvalue().splitlines()


def test_each_task_has_a_bar_with_its_words_and_counts():
    bars = Bars("steps")
    bars.report("fe", 0, 5, "FE model")
    bars.report("fast", 5, 5)
    bars.report("fe", 2, 5)
    shown = lines(bars)
    assert [line.split()[0] for line in shown] == ["FE", "fast"]
    assert "2/5" in shown[0] and "5/5" in shown[1] and all("steps" in line for line in shown)


def test_words_change_and_a_total_may_be_known_later():
    bars = Bars()
    bars.report("", 0, None, "collecting")
    bars.report("", 3, 9, "chapter")
    (line,) = lines(bars)
    assert line.startswith("chapter") and "3/9" in line


def test_fields_stand_behind_the_count_and_more_stands_below():
    bars = Bars("{task.fields[failed]} failed", below=lambda: Text("worker 1"))
    bars.report("curves", 1, 2, failed=1)
    line, below = lines(bars)
    assert "1 failed" in line and below == "worker 1"


def test_a_note_is_printed_as_it_is(capsys):
    with Bars() as bars:
        bars.note("kept [as it is]")
    assert "kept [as it is]" in capsys.readouterr().err


def test_nothing_stands_below_where_there_is_nothing_to_show():
    bars = Bars(below=lambda: None)
    bars.report("curves", 0, 2)
    assert len(lines(bars)) == 1
