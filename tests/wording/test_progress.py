"""Progress bars on standard error: one for each task, in order of their first report."""

import io

from rich.console import Console
from rich.text import Text

from fem.wording.progress import Bars
from tests.helpers.messages import assert_states


def lines(bars):
    """Return the lines that bars show."""
    console = Console(file=io.StringIO(), width=100)
    for part in bars.get_renderables():
        console.print(part)
    return console.file.getvalue().splitlines()


def test_each_task_has_a_bar_with_its_text_and_counts():
    bars = Bars("steps")
    bars.report("fe", 0, 5, "FE model")
    bars.report("fast", 5, 5)
    bars.report("fe", 2, 5)
    first, second = lines(bars)
    assert (first.split()[0], second.split()[0]) == ("FE", "fast")
    assert_states(first, "2/5", "steps")
    assert_states(second, "5/5", "steps")


def test_text_and_total_can_change():
    bars = Bars()
    bars.report("", 0, None, "collecting")
    bars.report("", 3, 9, "chapter")
    (line,) = lines(bars)
    assert line.startswith("chapter") and "3/9" in line


def test_fields_follow_the_count_and_more_is_shown_below():
    bars = Bars("{task.fields[failed]} failed", below=lambda: Text("worker 1"))
    bars.report("curves", 1, 2, failed=1)
    line, below = lines(bars)
    assert "1 failed" in line and below == "worker 1"


def test_a_note_is_printed_without_markup(capsys):
    with Bars() as bars:
        bars.note("a [note]")
    assert "a [note]" in capsys.readouterr().err


def test_nothing_is_shown_below_without_content():
    bars = Bars(below=lambda: None)
    bars.report("curves", 0, 2)
    assert len(lines(bars)) == 1
