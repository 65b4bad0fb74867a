"""The server of the page: its responses, and the requests that it refuses."""

import asyncio
import json
import subprocess
import sys
import textwrap
import threading
import time
import urllib.error
import urllib.request

import pytest
from aiohttp.test_utils import TestClient, TestServer

from fem.browser.assets import modules
from fem.explore.fe_job import TooManySolvesError
from fem.explore.setting import Setting, evaluate_setting
from fem.scene.result_view import result_views
from fem.solving.single import solve
from fem.web import explorer as live
from fem.web import jobs
from fem.web.server import make_app
from tests.helpers.messages import assert_states
from tests.helpers.processes import TIME_LIMIT

KEY = "wren"
SETTING = {"angles": [20, -30], "slack": {"rule": "taken up"}, "pressure": 12}


@pytest.fixture(scope="module")
def shown(result):
    return result_views(result)


@pytest.fixture
def send(shown, make_case):
    """Return a function that sends requests to a new server and returns the responses."""

    ready = make_case()

    def send_all(*requests, base=ready, **options):
        async def run():
            app = make_app(shown, "Wrist", base=base, key=KEY)
            async with TestClient(TestServer(app)) as client:
                return [await respond(client, *request, **options) for request in requests]

        return asyncio.run(run())

    return send_all


async def respond(client, method, path, **options):
    """Return status, content type, headers and body of a response."""
    path = path if path.startswith("/") else f"/{KEY}/{path}"
    async with client.request(method, path, **options) as response:
        return response.status, response.content_type, response.headers, await response.read()


def get(send, path, **options):
    ((status, kind, _, body),) = send(("GET", path), **options)
    return status, json.loads(body) if kind == "application/json" else body


def post(send, path, data, **options):
    ((status, kind, _, body),) = send(("POST", path), json=data, **options)
    return status, json.loads(body) if kind == "application/json" else body


def head_of(packed):
    """Return the JSON part of a pack."""
    end = 4 + int.from_bytes(packed[:4], "little")
    return json.loads(packed[4:end])


def test_the_page_and_its_files_are_served(send):
    names = ["viewer.css", *modules("page.js")]
    page, *files = send(("GET", ""), *[("GET", f"assets/{name}") for name in names])
    assert (page[0], page[1]) == (200, "text/html")
    assert all(f"assets/{name}".encode() in page[3] for name in ("viewer.css", "page.js"))
    assert [status for status, *_ in files] == [200] * len(names)
    assert {kind for _, kind, *_ in files} == {"text/javascript", "text/css"}


def test_the_scene_has_every_step_of_every_model(send, result):
    status, body = get(send, "scene")
    assert status == 200
    scene = head_of(body)
    assert scene["title"] == "Wrist"
    for view, run in zip(scene["views"], result.runs, strict=True):
        assert view["model"] == run.model
        twists = [step["row"]["twist_deg"] for step in view["steps"]]
        assert twists == pytest.approx([row["twist_deg"] for row in run.rows])


@pytest.mark.parametrize(
    "path",
    ["/", "/wren", "/owl/", "/owl/scene", "assets/none.js", "assets/..%2Fpage.py", "secrets"],
)
def test_nothing_else_is_served(send, path):
    status, response = get(send, path)
    assert status == 404
    assert [*response] == ["error"] and response["error"]


@pytest.mark.parametrize("host", ["example.org", "127.0.0.1", "127.0.0.1:1", "[::1]:80", ""])
def test_another_host_is_refused(send, host):
    status, response = get(send, "scene", headers={"Host": host})
    assert status in (400, 403)
    assert status == 400 or f'host "{host}"' in response["error"]


def test_the_page_is_served_while_shapes_are_loaded(shown):
    """The page is served at once; the scene waits for its shapes."""
    go_on = threading.Event()

    def load():
        assert go_on.wait(TIME_LIMIT)
        return shown

    async def run():
        app = make_app(load, "Wrist", base=None, key=KEY)
        async with TestClient(TestServer(app)) as client:
            scene = asyncio.create_task(respond(client, "GET", "scene"))
            page = await respond(client, "GET", "")
            waits = not scene.done()
            go_on.set()
            return page, waits, await scene

    page, waits, scene = asyncio.run(run())
    assert page[0] == 200 and waits
    assert len(head_of(scene[3])["views"]) == len(shown)


def test_an_error_of_loading_is_sent_to_the_page_and_ends_the_server():
    """In a separate process, because `run_app` needs the main thread."""
    script = """
        from fem.core.errors import InputError
        from fem.web.server import serve

        def load():
            input()
            raise InputError("shape_001.vtu: damaged")

        try:
            serve(load, "Wrist")
        except InputError as error:
            print("ended by", error)
    """
    with subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(script)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as serving:
        address = serving.stdout.readline().strip()
        responses = []
        waiting = threading.Thread(target=lambda: responses.append(fetched(f"{address}scene")))
        waiting.start()
        time.sleep(0.3)  # until the request is sent
        out, _ = serving.communicate("go on\n", timeout=TIME_LIMIT)
        waiting.join()
    assert out.endswith("ended by shape_001.vtu: damaged\n")
    assert responses == [{"error": "shape_001.vtu: damaged"}]


def fetched(address):
    """Return the JSON at an address."""
    with urllib.request.urlopen(address, timeout=TIME_LIMIT) as response:
        return json.loads(response.read())


@pytest.mark.parametrize("path", ["live/evaluate", "live/fe"])
def test_a_page_of_another_origin_is_refused(send, path):
    for origin in ("https://example.org", "http://127.0.0.1:1", "null"):
        status, response = post(send, path, SETTING, headers={"Origin": origin})
        assert status == 403
        assert_states(response["error"], f'origin "{origin}"')


def test_localhost_is_served(shown):
    async def run():
        app = make_app(shown, "Wrist", base=None, key=KEY)
        async with TestClient(TestServer(app)) as client:
            host = {"Host": f"localhost:{client.port}"}
            host |= {"Origin": f"http://localhost:{client.port}"}
            return await respond(client, "GET", "live", headers=host)

    status, *_ = asyncio.run(run())
    assert status == 200


def test_the_page_loads_nothing_from_elsewhere_and_no_data_are_cached(send):
    for _, _, headers, _ in send(("GET", ""), ("GET", "scene"), ("GET", "live"), ("GET", "/")):
        policy = headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'; ")
        assert not any(word in policy for word in ("http", "*", "unsafe"))
        assert headers["Cache-Control"] == "no-store"
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert "Access-Control-Allow-Origin" not in headers


def test_the_explorer_has_its_ranges(send):
    status, ranges = get(send, "live")
    assert status == 200
    assert ranges["available"] is True
    assert ranges["families"] == [
        {"name": "A", "unit": "deg", "value": 20, "low": -30, "high": 30},
        {"name": "B", "unit": "deg", "value": -30, "low": -30, "high": 30},
    ]
    pressure = {"title": "pressure", "unit": "kPa", "value": 15, "low": 0, "high": 30}
    assert ranges["pressure"].items() >= pressure.items()
    rules = {rule.pop("rule"): rule for rule in ranges["slack"]["rules"]}
    assert ranges["slack"]["rule"] == "taken up"
    assert rules["given"] == {"unit": "%", "low": 0, "high": 20}
    assert ranges["resolution"] in ranges["resolutions"]


def test_without_a_case_the_explorer_is_not_available(send):
    status, response = get(send, "live", base=None)
    reason = response["reason"]
    assert (status, response) == (200, {"available": False, "reason": reason})
    status, response = post(send, "live/evaluate", SETTING, base=None)
    assert (status, response) == (200, {"error": reason})


def test_a_setting_is_evaluated_by_the_fast_model(send, make_case):
    status, body = post(send, "live/evaluate", SETTING)
    assert status == 200
    (view,) = head_of(body)["views"]
    (state,) = (step["row"] for step in view["steps"])
    wanted = evaluate_setting(Setting.parse(SETTING), make_case()).row
    assert view["model"] == "fast"
    assert all(len(solid["frames"]) == 1 for solid in view["solids"])
    for name in ["twist_deg", "displacement_mm", "tension_N.A"]:
        assert state[name] == pytest.approx(wanted[name], rel=1e-9), name


def test_a_pressure_that_is_not_reached_has_a_note(send):
    status, body = post(send, "live/evaluate", SETTING | {"angles": [0, 0], "pressure": 30})
    assert status == 200
    assert head_of(body)["views"][0]["note"].startswith("balloon limit at ")


@pytest.mark.parametrize("path", ["live/evaluate", "live/fe"])
@pytest.mark.parametrize(
    ("change", "facts"),
    [
        ({"angles": [89.9, 0]}, ["helix angle of A", "89.9 deg", "-30 to 30 deg"]),
        ({"angles": [20, -95]}, ["helix angle of B", "-95 deg", "-30 to 30 deg"]),
        ({"angles": [20]}, ["angles", "1 ", "A, B"]),
        ({"pressure": -500}, ["pressure", "-500 kPa", "0 to 30 kPa"]),
        ({"pressure": 1e9}, ["pressure", "1e+09 kPa", "0 to 30 kPa"]),
        ({"slack": {"rule": "loose"}}, ["slack.rule", "loose"]),
        (
            {"slack": {"rule": "given", "value": 200}},
            ["slack given", "200 %", "0 to 20 %"],
        ),
        (
            {"slack": {"rule": "cut at", "value": -1}},
            ["slack cut at", "-1 deg", "0 to 60 deg"],
        ),
    ],
)
def test_a_setting_outside_the_ranges_is_refused_by_slider_value_and_range(
    send, path, change, facts
):
    """Its status is 200: browsers log any other status as an error."""
    status, response = post(send, path, SETTING | change)
    assert status == 200
    assert_states(response["error"], *facts)


@pytest.mark.parametrize("path", ["live/evaluate", "live/fe"])
@pytest.mark.parametrize(
    ("sent", "status", "facts"),
    [
        ({"data": b"{}"}, 400, ["content type", "JSON"]),
        ({"data": b"{", "headers": {"Content-Type": "application/json"}}, 400, ["JSON"]),
        ({"data": b"\xff", "headers": {"Content-Type": "application/json"}}, 400, ["JSON"]),
        ({"data": b"[" * 60_000, "headers": {"Content-Type": "application/json"}}, 400, ["JSON"]),
        ({"json": []}, 200, ["[]:", "angles", "slack", "pressure"]),
        ({"json": {"angles": []}}, 200, ["slack", "missing"]),
        ({"json": "x" * 70000}, 413, ["65536"]),
    ],
)
def test_data_that_are_not_a_setting_are_refused(send, path, sent, status, facts):
    ((found, kind, _, body),) = send(("POST", path), **sent)
    assert (found, kind) == (status, "application/json")
    assert_states(json.loads(body)["error"], *facts)


def test_a_wrong_method_is_refused(send):
    status, response = get(send, "live/evaluate")
    assert status == 405
    assert "Method Not Allowed" in response["error"]


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setattr("fem.explore.reachable_set.FINE", 5)


def test_the_reachable_set_is_over_both_rings(send, make_case, small):
    status, response = get(send, "live/reach?slack=given&value=3")
    assert status == 200
    assert [one["name"] for one in response["columns"]] == ["displacement_mm", "twist_deg"]
    assert [level["pressure"] for level in response["levels"]] == [7.5, 15, 22.5, 30]
    assert {tuple(level["grid"]) for level in response["levels"]} == {(5, 5)}
    corner = response["levels"][0]["points"][1]  # the first ring at its least, the second a step on
    case = make_case(threads__0__angle="-30 deg", threads__1__angle="-15 deg")
    case = case.changed(threads__0__slack="3 %", threads__1__slack="3 %", pressure__end="7.5 kPa")
    row = solve(case, "fast").rows[-1]
    assert corner == pytest.approx([row["displacement_mm"], row["twist_deg"]], abs=2e-4)


def test_a_request_without_slack_has_the_reachable_set_of_the_case(send, small, monkeypatch):
    requested = []
    found = live.reachable_set
    monkeypatch.setattr(
        live, "reachable_set", lambda *values: requested.append(values[1]) or found(*values)
    )
    responses = send(
        ("GET", "live/reach"),
        ("GET", "live/reach?slack=taken+up&value="),
        ("GET", "live/reach?slack=cut+at&value=30&angles=1,2"),
    )
    assert [slack.text for slack in requested] == ["taken up", "cut at 30 deg"]  # one is cached
    assert responses[0][3] == responses[1][3]
    none = [point is None for point in json.loads(responses[2][3])["levels"][3]["points"]]
    assert any(none) and not all(none)


@pytest.mark.parametrize(
    ("query", "fact"),
    [
        ("slack=loose", "loose"),
        ("slack=given", "needs a number"),
        ("slack=given&value=x", "x"),
        ("slack=given&value=101", "0 to 20 %"),
        ("angles=1", "A, B"),
        ("angles=1,b", "b"),
    ],
)
def test_a_reachable_set_outside_the_ranges_is_refused(send, query, fact):
    status, response = get(send, f"live/reach?{query}")
    assert status == 200
    assert_states(response["error"], fact)


def test_settings_are_evaluated_while_another_tab_waits_for_the_reachable_set(
    shown, make_case, monkeypatch
):
    monkeypatch.setattr(live, "reachable_set", lambda *_: time.sleep(0.8))
    monkeypatch.setattr(live, "_levels", lambda _: {})

    async def run():
        app = make_app(shown, "Wrist", base=make_case(), key=KEY)
        async with TestClient(TestServer(app)) as client:
            await respond(client, "GET", "live")
            slow = asyncio.create_task(respond(client, "GET", "live/reach"))
            await asyncio.sleep(0.1)
            quick = await respond(client, "POST", "live/evaluate", json=SETTING)
            return slow.done(), quick[0], (await slow)[0]

    assert asyncio.run(run()) == (False, 200, 200)


def test_after_an_internal_error_the_server_continues(send, monkeypatch, capsys):
    def fail(*_):
        raise ZeroDivisionError("nothing left")

    monkeypatch.setattr(live, "evaluated", fail)
    (bad, good) = send(("POST", "live/evaluate"), ("GET", "live"), json=SETTING)
    assert bad[0] == 500
    assert "ZeroDivisionError: nothing left" in json.loads(bad[3])["error"]
    assert good[0] == 200
    assert "ZeroDivisionError" in capsys.readouterr().err


async def solved(client, **requested):
    """Start an FE solve, wait for its end; return its name and its last progress."""
    _, _, _, body = await respond(client, "POST", "live/fe", json=SETTING | requested)
    job = json.loads(body)["job"]
    until = time.monotonic() + TIME_LIMIT
    while time.monotonic() < until:
        _, _, _, body = await respond(client, "GET", f"live/fe/{job}")
        if (progress := json.loads(body))["state"] != "running":
            return job, progress
        await asyncio.sleep(0.02)
    raise AssertionError("the solve does not end")


def test_an_fe_solve_has_progress_and_a_scene(shown, make_case):
    async def run():
        app = make_app(shown, "Wrist", base=make_case(), key=KEY)
        async with TestClient(TestServer(app)) as client:
            job, progress = await solved(client, resolution="coarse", tab="one")
            scene = await respond(client, "GET", f"live/fe/{job}/scene")
            late = await respond(client, "DELETE", f"live/fe/{job}")
            return progress, scene, late

    progress, scene, late = asyncio.run(run())
    assert progress == {"state": "done", "done": 5, "steps": 5, "reason": ""}
    (view,) = head_of(scene[3])["views"]
    case = Setting.parse(SETTING).case(make_case(), 5)
    row = solve(case, "fe", "coarse").rows[-1]
    assert view["model"] == "fe"
    assert view["steps"][-1]["row"]["twist_deg"] == pytest.approx(row["twist_deg"], abs=1e-6)
    assert json.loads(late[3])["state"] == "done"  # a stop after the end has no effect


def test_an_fe_solve_can_be_stopped(shown, make_case):
    async def run():
        app = make_app(shown, "Wrist", base=make_case(), key=KEY)
        async with TestClient(TestServer(app)) as client:
            wanted = SETTING | {"resolution": "fine"}
            _, _, _, body = await respond(client, "POST", "live/fe", json=wanted)
            one = f"live/fe/{json.loads(body)['job']}"
            early = await respond(client, "GET", f"{one}/scene")
            stopped = await respond(client, "DELETE", one)
            again = await respond(client, "GET", one)
            return early, stopped, again

    early, stopped, again = asyncio.run(run())
    assert early[0] == 404
    assert json.loads(stopped[3])["state"] == json.loads(again[3])["state"] == "stopped"


def test_an_unknown_solve_and_a_wrong_mesh_are_refused(send):
    responses = send(
        ("GET", "live/fe/none"), ("DELETE", "live/fe/none"), ("GET", "live/fe/none/scene")
    )
    assert {status for status, *_ in responses} == {404}
    assert all(json.loads(body)["error"] for *_, body in responses)
    status, response = post(send, "live/fe", SETTING | {"resolution": "finest"})
    assert status == 200
    assert_states(response["error"], "resolution", "coarse", "standard", "fine")


def test_too_many_solves_are_refused(send, monkeypatch):
    def full(*_):
        raise TooManySolvesError("4 FE solves")

    monkeypatch.setattr(jobs.Jobs, "start", full)
    status, response = post(send, "live/fe", SETTING)
    assert (status, response) == (200, {"error": "4 FE solves"})
