"""The server as a program: its address, the browser that it opens, its end."""

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import textwrap
import urllib.error
import urllib.request
from functools import partial
from pathlib import Path

import pytest
from aiohttp.web import AppRunner

from fem.core.errors import InputError
from fem.scene.result_view import result_views
from fem.web import server
from fem.web.server import listen
from tests.helpers.messages import refused
from tests.helpers.processes import TIME_LIMIT, alive, wait


@pytest.fixture(scope="module")
def shown(result):
    return result_views(result)


def test_a_port_in_use_is_refused():
    with listen(None) as taken:
        port = taken.getsockname()[1]
        with refused(InputError, f"port {port} of 127.0.0.1", "in use", "--port"):
            listen(port)


def test_a_port_out_of_range_is_refused():
    with refused(InputError, "port 70000", "1 to 65535"):
        listen(70000)


def test_the_server_listens_on_this_machine_only():
    with listen(None) as taken:
        assert taken.getsockname()[0] == "127.0.0.1"


def test_the_browser_is_opened_only_if_requested(monkeypatch, shown, capsys):
    seen = []
    monkeypatch.setattr(server.webbrowser, "open", seen.append)
    monkeypatch.setattr(server.web, "run_app", lambda app, **_: asyncio.run(start(app)))

    async def start(app):
        runner = AppRunner(app)
        await runner.setup()
        await asyncio.sleep(0.1)
        await runner.cleanup()

    for browser in [True, False]:
        server.serve(shown, "Wrist", browser=browser)
    first, second = (
        line for line in capsys.readouterr().out.splitlines() if line.startswith("http")
    )
    assert seen == [first]
    assert first != second  # the key is new each time


SERVER = """
    import sys
    from fem.case.case import Case
    from fem.web.server import serve

    if __name__ == "__main__":
        serve([], "Wrist", base=Case.load(sys.argv[1]))
        print("ended")
"""


def started(cases_folder):
    """Return a process that serves, and its address."""
    script = textwrap.dedent(SERVER)
    case = str(cases_folder / "greenhouse_wrist.toml")
    serving = subprocess.Popen(
        [sys.executable, "-c", script, case],
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    return serving, serving.stdout.readline().strip()


def children(pid):
    """Return the processes that a process has started."""
    return Path(f"/proc/{pid}/task/{pid}/children").read_text().split()


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_and_sigterm_end_the_server_with_all_its_processes(cases_folder, sign):
    serving, address = started(cases_folder)
    setting = {"angles": [20, -30], "slack": {"rule": "taken up"}, "pressure": 12}
    requested = setting | {"resolution": "fine"}
    request = urllib.request.Request(
        f"{address}live/fe",
        json.dumps(requested).encode(),
        {"Content-Type": "application/json"},
    )
    with urllib.request.urlopen(request) as answer:
        job = json.load(answer)["job"]

    def is_running():
        with urllib.request.urlopen(f"{address}live/fe/{job}") as answer:
            return not json.load(answer)["reason"]

    wait(is_running, "not started")
    started_by_it = children(serving.pid)
    os.killpg(serving.pid, sign) if sign == signal.SIGINT else serving.send_signal(sign)
    out, _ = serving.communicate(timeout=TIME_LIMIT)
    assert started_by_it
    assert serving.returncode == 0
    assert out.endswith("ended\n")
    wait(lambda: not any(map(alive, started_by_it)), "a process still runs")
    with pytest.raises(urllib.error.URLError):
        urllib.request.urlopen(address)


def test_the_server_cannot_be_reached_at_another_address(cases_folder):
    serving, address = started(cases_folder)
    try:
        port = int(address.split(":")[2].split("/")[0])
        other = partial(socket.create_connection, timeout=1)
        with other(("127.0.0.1", port)):
            pass
        with pytest.raises(OSError):
            other(("127.0.0.2", port))
    finally:
        serving.send_signal(signal.SIGTERM)
        serving.communicate(timeout=TIME_LIMIT)
