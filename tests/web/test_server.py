"""The server behind the page: what it answers, whom it refuses."""

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
from fem.scene.result_view import exhibits
from fem.solving.single import solve
from fem.web import explorer as live
from fem.web import jobs
from fem.web.server import make_app
from tests.helpers.messages import assert_states
from tests.helpers.processes import PATIENCE

KEY = "wren"
SETTING = {"angles": [20, -30], "slack": {"rule": "taken up"}, "pressure": 12}


@pytest.fixture(scope="module")
def shown(result):
    return exhibits(result)


@pytest.fixture
def ask(shown, make_case):
    """Return a function that asks a new server, in turn, and returns the answers."""

    ready = make_case()

    def talk(*requests, base=ready, **options):
        async def run():
            app = make_app(shown, "Wrist", base=base, key=KEY)
            async with TestClient(TestServer(app)) as client:
                return [await answered(client, *request, **options) for request in requests]

        return asyncio.run(run())

    return talk


async def answered(client, method, path, **options):
    """Return status, content type, headers and body of an answer."""
    path = path if path.startswith("/") else f"/{KEY}/{path}"
    async with client.request(method, path, **options) as answer:
        return answer.status, answer.content_type, answer.headers, await answer.read()


def get(ask, path, **options):
    ((status, kind, _, body),) = ask(("GET", path), **options)
    return status, json.loads(body) if kind == "application/json" else body


def post(ask, path, data, **options):
    ((status, kind, _, body),) = ask(("POST", path), json=data, **options)
    return status, json.loads(body) if kind == "application/json" else body


def opened(packed):
    """Return the JSON part of a pack."""
    end = 4 + int.from_bytes(packed[:4], "little")
    return json.loads(packed[4:end])


def test_the_page_and_its_files_are_there(ask):
    names = ["sheet.css", *modules("page.js")]
    page, *files = ask(("GET", ""), *[("GET", f"assets/{name}") for name in names])
    assert (page[0], page[1]) == (200, "text/html")
    assert all(f"assets/{name}".encode() in page[3] for name in ("sheet.css", "page.js"))
    assert [status for status, *_ in files] == [200] * len(names)
    assert {kind for _, kind, *_ in files} == {"text/javascript", "text/css"}


def test_the_scene_holds_every_step_of_every_model(ask, result):
    status, body = get(ask, "scene")
    assert status == 200
    scene = opened(body)
    assert scene["title"] == "Wrist"
    for exhibit, run in zip(scene["exhibits"], result.runs, strict=True):
        assert exhibit["model"] == run.model
        told = [step["row"]["twist_deg"] for step in exhibit["steps"]]
        assert told == pytest.approx([row["twist_deg"] for row in run.rows])


@pytest.mark.parametrize(
    "path",
    ["/", "/wren", "/owl/", "/owl/scene", "assets/none.js", "assets/..%2Fpage.py", "secrets"],
)
def test_nothing_else_is_there(ask, path):
    status, answer = get(ask, path)
    assert status == 404
    assert answer == {"error": "there is nothing here"}


@pytest.mark.parametrize("host", ["example.org", "127.0.0.1", "127.0.0.1:1", "[::1]:80", ""])
def test_another_host_is_refused(ask, host):
    status, answer = get(ask, "scene", headers={"Host": host})
    assert status in (400, 403)
    assert status == 400 or "only this machine" in answer["error"]


def test_it_answers_while_what_is_shown_is_still_loaded(shown):
    """The page is there at once; the scene waits for its shapes."""
    go_on = threading.Event()

    def load():
        assert go_on.wait(PATIENCE)
        return shown

    async def run():
        app = make_app(load, "Wrist", base=None, key=KEY)
        async with TestClient(TestServer(app)) as client:
            scene = asyncio.create_task(answered(client, "GET", "scene"))
            page = await answered(client, "GET", "")
            waits = not scene.done()
            go_on.set()
            return page, waits, await scene

    page, waits, scene = asyncio.run(run())
    assert page[0] == 200 and waits
    assert len(opened(scene[3])["exhibits"]) == len(shown)


def test_what_cannot_be_loaded_is_told_to_the_page_and_ends_the_server():
    """In a process of its own, as `run_app` has the main thread."""
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
        said = []
        asking = threading.Thread(target=lambda: said.append(fetched(f"{address}scene")))
        asking.start()
        time.sleep(0.3)  # till it has asked
        out, _ = serving.communicate("go on\n", timeout=PATIENCE)
        asking.join()
    assert out.endswith("ended by shape_001.vtu: damaged\n")
    assert said == [{"error": "shape_001.vtu: damaged"}]


def fetched(address):
    """Return the JSON at an address."""
    with urllib.request.urlopen(address, timeout=PATIENCE) as answer:
        return json.loads(answer.read())


@pytest.mark.parametrize("path", ["live/settle", "live/fe"])
def test_a_page_of_another_origin_is_refused(ask, path):
    for origin in ("https://example.org", "http://127.0.0.1:1", "null"):
        status, answer = post(ask, path, SETTING, headers={"Origin": origin})
        assert (status, "only the page of this server" in answer["error"]) == (403, True)


def test_localhost_is_this_machine(shown):
    async def run():
        app = make_app(shown, "Wrist", base=None, key=KEY)
        async with TestClient(TestServer(app)) as client:
            host = {"Host": f"localhost:{client.port}"}
            host |= {"Origin": f"http://localhost:{client.port}"}
            return await answered(client, "GET", "live", headers=host)

    status, *_ = asyncio.run(run())
    assert status == 200


def test_the_page_may_load_nothing_from_elsewhere_and_no_data_are_cached(ask):
    for _, _, headers, _ in ask(("GET", ""), ("GET", "scene"), ("GET", "live"), ("GET", "/")):
        policy = headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'; ")
        assert not any(word in policy for word in ("http", "*", "unsafe"))
        assert headers["Cache-Control"] == "no-store"
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert "Access-Control-Allow-Origin" not in headers


def test_the_explorer_says_what_it_offers(ask):
    status, offer = get(ask, "live")
    assert status == 200
    assert offer["offered"] is True
    assert offer["families"] == [
        {"name": "A", "unit": "deg", "value": 20, "low": -30, "high": 30},
        {"name": "B", "unit": "deg", "value": -30, "low": -30, "high": 30},
    ]
    pressure = {"title": "pressure", "unit": "kPa", "value": 15, "low": 0, "high": 30}
    assert offer["pressure"].items() >= pressure.items()
    rules = {rule.pop("rule"): rule for rule in offer["slack"]["rules"]}
    assert offer["slack"]["rule"] == "taken up"
    assert rules["given"] == {"unit": "%", "low": 0, "high": 20}
    assert offer["resolution"] in offer["resolutions"]


def test_without_a_case_the_explorer_is_not_offered(ask):
    assert get(ask, "live", base=None) == (
        200,
        {"offered": False, "reason": "no case is shown that the explorer could set"},
    )
    status, answer = post(ask, "live/settle", SETTING, base=None)
    assert (status, answer) == (200, {"error": "no case is shown that the explorer could set"})


def test_it_settles_where_the_fast_model_does(ask, make_case):
    status, body = post(ask, "live/settle", SETTING)
    assert status == 200
    (exhibit,) = opened(body)["exhibits"]
    (state,) = (step["row"] for step in exhibit["steps"])
    wanted = evaluate_setting(Setting.parse(SETTING), make_case()).row
    assert exhibit["model"] == "fast"
    assert all(len(solid["frames"]) == 1 for solid in exhibit["solids"]), "nothing but what is seen"
    for name in ["twist_deg", "displacement_mm", "tension_N.A"]:
        assert state[name] == pytest.approx(wanted[name], rel=1e-9), name


def test_a_pressure_that_is_not_reached_is_told(ask):
    status, body = post(ask, "live/settle", SETTING | {"angles": [0, 0], "pressure": 30})
    assert status == 200
    assert opened(body)["exhibits"][0]["note"].startswith("balloon limit at ")


@pytest.mark.parametrize("path", ["live/settle", "live/fe"])
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
    ask, path, change, facts
):
    """Its status is 200: of any other one the browser would complain in its console."""
    status, answer = post(ask, path, SETTING | change)
    assert status == 200
    assert_states(answer["error"], *facts)


@pytest.mark.parametrize("path", ["live/settle", "live/fe"])
@pytest.mark.parametrize(
    ("sent", "status", "said"),
    [
        ({"data": b"{}"}, 400, "JSON is due"),
        ({"data": b"{", "headers": {"Content-Type": "application/json"}}, 400, "not valid JSON"),
        ({"data": b"\xff", "headers": {"Content-Type": "application/json"}}, 400, "not valid JSON"),
        (
            {"data": b"[" * 60_000, "headers": {"Content-Type": "application/json"}},
            400,
            "not valid JSON",
        ),
        ({"json": []}, 200, "[]: a setting is an object with the keys angles, slack, pressure"),
        ({"json": {"angles": []}}, 200, "this key is missing"),
        ({"json": "x" * 70000}, 413, "65536"),
    ],
)
def test_what_is_no_setting_is_refused_in_words(ask, path, sent, status, said):
    ((found, kind, _, body),) = ask(("POST", path), **sent)
    assert (found, kind) == (status, "application/json")
    assert said in json.loads(body)["error"]


def test_a_wrong_method_is_refused_in_words(ask):
    status, answer = get(ask, "live/settle")
    assert status == 405
    assert "Method Not Allowed" in answer["error"]


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setattr("fem.explore.reachable_set.FINE", 5)


def test_the_reachable_set_is_over_both_rings(ask, make_case, small):
    status, answer = get(ask, "live/reach?slack=given&value=3")
    assert status == 200
    assert [one["name"] for one in answer["columns"]] == ["displacement_mm", "twist_deg"]
    assert [level["pressure"] for level in answer["levels"]] == [7.5, 15, 22.5, 30]
    assert {tuple(level["grid"]) for level in answer["levels"]} == {(5, 5)}
    corner = answer["levels"][0]["points"][1]  # the first ring at its least, the second a step on
    case = make_case(threads__0__angle="-30 deg", threads__1__angle="-15 deg")
    case = case.changed(threads__0__slack="3 %", threads__1__slack="3 %", pressure__end="7.5 kPa")
    row = solve(case, "fast").rows[-1]
    assert corner == pytest.approx([row["displacement_mm"], row["twist_deg"]], abs=2e-4)


def test_the_reachable_set_is_that_of_the_case_if_nothing_is_said(ask, small, monkeypatch):
    asked = []
    found = live.reachable_set
    monkeypatch.setattr(
        live, "reachable_set", lambda *question: asked.append(question[1]) or found(*question)
    )
    answers = ask(
        ("GET", "live/reach"),
        ("GET", "live/reach?slack=taken+up&value="),
        ("GET", "live/reach?slack=cut+at&value=30&angles=1,2"),
    )
    assert [slack.text for slack in asked] == ["taken up", "cut at 30 deg"]  # the second is kept
    assert answers[0][3] == answers[1][3]
    none = [point is None for point in json.loads(answers[2][3])["levels"][3]["points"]]
    assert any(none) and not all(none)


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("slack=loose", "loose"),
        ("slack=given", "needs a number"),
        ("slack=given&value=x", "x"),
        ("slack=given&value=101", "0 to 20 %"),
        ("angles=1", "A, B"),
        ("angles=1,b", "b"),
    ],
)
def test_a_question_for_what_cannot_be_is_refused_in_words(ask, query, said):
    status, answer = get(ask, f"live/reach?{query}")
    assert status == 200
    assert said in answer["error"]


def test_settling_goes_on_while_another_tab_waits_for_the_reachable_set(
    shown, make_case, monkeypatch
):
    monkeypatch.setattr(live, "reachable_set", lambda *_: time.sleep(0.8))
    monkeypatch.setattr(live, "_levels", lambda _: {})

    async def run():
        app = make_app(shown, "Wrist", base=make_case(), key=KEY)
        async with TestClient(TestServer(app)) as client:
            await answered(client, "GET", "live")
            slow = asyncio.create_task(answered(client, "GET", "live/reach"))
            await asyncio.sleep(0.1)
            quick = await answered(client, "POST", "live/settle", json=SETTING)
            return slow.done(), quick[0], (await slow)[0]

    assert asyncio.run(run()) == (False, 200, 200)


def test_a_fault_of_ours_is_told_and_the_server_goes_on(ask, monkeypatch, capsys):
    def fail(*_):
        raise ZeroDivisionError("nothing left")

    monkeypatch.setattr(live, "settled", fail)
    (bad, good) = ask(("POST", "live/settle"), ("GET", "live"), json=SETTING)
    assert bad[0] == 500
    assert "ZeroDivisionError: nothing left" in json.loads(bad[3])["error"]
    assert good[0] == 200
    assert "ZeroDivisionError" in capsys.readouterr().err


async def solved(client, **wanted):
    """Ask for an FE solve, wait for its end; return its name and what was told last."""
    _, _, _, body = await answered(client, "POST", "live/fe", json=SETTING | wanted)
    job = json.loads(body)["job"]
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        _, _, _, body = await answered(client, "GET", f"live/fe/{job}")
        if (told := json.loads(body))["state"] != "running":
            return job, told
        await asyncio.sleep(0.02)
    raise AssertionError("the solve goes on and on")


def test_an_fe_solve_is_told_and_shown(shown, make_case):
    async def run():
        app = make_app(shown, "Wrist", base=make_case(), key=KEY)
        async with TestClient(TestServer(app)) as client:
            job, told = await solved(client, resolution="coarse", tab="one")
            scene = await answered(client, "GET", f"live/fe/{job}/scene")
            late = await answered(client, "DELETE", f"live/fe/{job}")
            return told, scene, late

    told, scene, late = asyncio.run(run())
    assert told == {"state": "done", "done": 5, "steps": 5, "reason": ""}
    (exhibit,) = opened(scene[3])["exhibits"]
    case = Setting.parse(SETTING).case(make_case(), 5)
    row = solve(case, "fe", "coarse").rows[-1]
    assert exhibit["model"] == "fe"
    assert exhibit["steps"][-1]["row"]["twist_deg"] == pytest.approx(row["twist_deg"], abs=1e-6)
    assert json.loads(late[3])["state"] == "done"  # to stop what has ended changes nothing


def test_an_fe_solve_is_stopped(shown, make_case):
    async def run():
        app = make_app(shown, "Wrist", base=make_case(), key=KEY)
        async with TestClient(TestServer(app)) as client:
            wanted = SETTING | {"resolution": "fine"}
            _, _, _, body = await answered(client, "POST", "live/fe", json=wanted)
            one = f"live/fe/{json.loads(body)['job']}"
            early = await answered(client, "GET", f"{one}/scene")
            stopped = await answered(client, "DELETE", one)
            again = await answered(client, "GET", one)
            return early, stopped, again

    early, stopped, again = asyncio.run(run())
    assert early[0] == 404
    assert json.loads(stopped[3])["state"] == json.loads(again[3])["state"] == "stopped"


def test_an_unknown_solve_and_a_wrong_mesh_are_refused_in_words(ask):
    answers = ask(
        ("GET", "live/fe/none"), ("DELETE", "live/fe/none"), ("GET", "live/fe/none/scene")
    )
    assert {status for status, *_ in answers} == {404}
    assert all("no such solve" in json.loads(body)["error"] for *_, body in answers)
    status, answer = post(ask, "live/fe", SETTING | {"resolution": "finest"})
    assert status == 200
    assert "resolution" in answer["error"] and "coarse" in answer["error"]


def test_too_many_solves_are_refused_in_words(ask, monkeypatch):
    def full(*_):
        raise TooManySolvesError("4 FE solves run or wait already; stop one, or wait")

    monkeypatch.setattr(jobs.Jobs, "start", full)
    status, answer = post(ask, "live/fe", SETTING)
    assert (status, "stop one" in answer["error"]) == (200, True)
