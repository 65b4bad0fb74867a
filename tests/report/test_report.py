"""The page of a report: of a result, of a study, and refused input."""

import csv
import json
import re
import shutil
import sys
from itertools import pairwise

import pytest
from markupsafe import Markup

from fem.browser.embed import viewer_scripts
from fem.case.case import Case
from fem.cli import main
from fem.cli.app import CAUTION
from fem.core.errors import InputError
from fem.plots.study.figures import figures
from fem.report import page, scene
from fem.report.page import MAX_BYTES, minus
from fem.report.pictures import Picture
from fem.report.result import CONTENTS, result_pages, summary_table
from fem.report.scene import still_picture
from fem.report.study import study_pages
from fem.report.study_tables import counts_table, not_reached_tables
from fem.report.write import NAME, write_report
from fem.results.result import Result
from fem.solving.single import solve
from fem.study.runner import SHAPES, run
from fem.study.study_result import StudyResult
from fem.wording.remarks import run_sentence
from fem.wording.tables import step_tables
from tests.helpers.messages import assert_states, refused
from tests.helpers.pages import read
from tests.study.test_runner import SerialExecutor, small

HOSTILE = '</title><script>alert("x")</script> {{ 7 * 7 }} $x$ & \'"'

LOADS = ("src", "href", "xlink:href", "srcset", "data", "action", "poster", "background")
"""Attributes by which a page can load something."""


@pytest.fixture(scope="module")
def solved(result, tmp_path_factory):
    """Return the folder of a result of both models."""
    folder = tmp_path_factory.mktemp("result")
    result.save(folder)
    return folder


@pytest.fixture(scope="module")
def text(solved):
    """Return its report."""
    return write_report(solved).read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def report(text):
    return read(text)


@pytest.fixture(scope="module")
def quick(make_case, tmp_path_factory):
    """Return the folder of a result of the fast model in one step."""
    folder = tmp_path_factory.mktemp("quick")
    solve(make_case(pressure__steps=1), "fast").save(folder)
    return folder


@pytest.fixture(scope="module")
def studied(cases_folder, tmp_path_factory):
    """Return the folder of a study by both models, which stores one shape."""
    folder = tmp_path_factory.mktemp("study")
    job_list = small(
        cases_folder,
        title=HOSTILE,
        shapes=[{"threads.A.angle": "10 deg", "threads.B.angle": "-20 deg"}],
    )
    study_result = run(job_list, folder, SerialExecutor())
    study_result.save(folder)
    return folder


@pytest.fixture(scope="module")
def study_text(studied):
    return write_report(studied).read_text(encoding="utf-8")


# --------------------------------------------------------------------------------------- any page


@pytest.mark.parametrize("name", ["text", "study_text"])
def test_a_page_loads_nothing(name, request):
    """Neither elements nor styles refer to other files; the policy would also block it."""
    text = request.getfixturevalue(name)
    root = read(text)
    for element in root.elements:
        assert element.tag not in ("link", "iframe", "object", "embed", "base")
        for attribute, value in element.attributes.items():
            if attribute in LOADS:
                assert value.startswith(("data:", "#")), (element.tag, attribute, value[:80])
    styles = "".join("".join(style.parts) for style in root.all("style"))
    assert not re.findall(r"@import|url\((?!#|data:)", styles)
    policy = root.one("meta", **{"http-equiv": "Content-Security-Policy"}).attributes["content"]
    assert "default-src 'none'" in policy
    assert "http" not in policy and "unsafe-eval" not in policy


@pytest.mark.parametrize("name", ["text", "study_text"])
def test_a_page_has_the_structure_that_screen_readers_need(name, request):
    """Headings in order, table heads with scope, descriptions of pictures, unique ids."""
    root = read(request.getfixturevalue(name))
    assert root.one("html").attributes["lang"] == "en"
    levels = [int(head.tag[1]) for head in root.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    for table in root.all("table"):
        assert table.one("caption").words
        assert {head.attributes.get("scope") for head in table.all("th")} <= {
            "col",
            "colgroup",
            "row",
        }
        assert all(head.words for head in table.one("thead").all("th"))
        widths = [
            sum(int(cell.attributes.get("colspan", 1)) for cell in row.all("th"))
            for row in table.one("thead").all("tr")[:1]
        ]
        assert {len(row.all("th", "td")) for row in table.one("tbody").all("tr")} <= {*widths}
    assert all(picture.attributes["alt"] for picture in root.all("img"))
    for drawing in root.all("svg"):
        assert drawing.attributes.get("aria-label") or drawing.attributes.get("aria-hidden")
    names = [e.attributes["id"] for e in root.elements if "id" in e.attributes]
    assert len(names) == len({*names})
    links = [link.attributes["href"][1:] for link in root.all("a")]
    assert {*links} <= {*names}


@pytest.mark.parametrize("name", ["text", "study_text"])
def test_a_page_is_within_the_size_limit(name, request):
    assert len(request.getfixturevalue(name).encode()) < MAX_BYTES


# --------------------------------------------------------------------------------------- a result


def test_the_sections_are_in_order_and_cautions_are_shown(report):
    heads = [head.words for head in report.one("main").all("h2")]
    assert heads == [*CONTENTS.values()]
    assert_states(report.one("section", id="cautions").words, "ISO 4414", "not a certificate")
    assert "Invented." in report.one("header").words


def test_the_steps_on_the_page_are_those_of_the_file(report, result, solved):
    with open(solved / "steps.csv", encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["model"] == "fast"]
    shown = report.tables()[step_tables(result, brief=False)[0].caption]
    for row, cells in zip(rows, shown, strict=True):
        twist, displacement = (float(cells[n].replace("−", "-")) for n in (2, 4))
        assert abs(twist - float(row["twist_deg"])) <= 0.00501
        assert abs(displacement - float(row["displacement_mm"])) <= 0.000501


def test_the_summary_has_the_last_step(report, result):
    caption = summary_table(result).caption
    cells = {row[0]: row[1:] for row in report.tables()[caption]}
    fe, fast = (run.rows[-1] for run in result.runs)
    assert cells["bulge [mm]"][:2] == [f"{fe['bulge_mm']:.3f}", f"{fast['bulge_mm']:.3f}"]
    difference = cells["twist [deg]"][2].replace("−", "-")
    assert float(difference) == pytest.approx(fast["twist_deg"] - fe["twist_deg"], abs=0.006)


def test_the_provenance_is_that_of_the_solve(report, result):
    tables = report.tables()
    assert dict(tables["Case and machine"])["case hash (SHA-256)"] == result.case.hash
    versions = dict(tables["Versions"])
    assert versions == result.environment.versions


def test_a_title_cannot_break_the_page(make_case, tmp_path):
    case = make_case(title=HOSTILE, note=HOSTILE, pressure__steps=1)
    result = solve(case, "fast")
    result.save(tmp_path)
    text = write_report(tmp_path).read_text(encoding="utf-8")
    root = read(text)
    assert root.one("h1").words == " ".join(HOSTILE.split())
    assert root.one("title").words.startswith(HOSTILE[:8])
    assert not any("alert(" in "".join(map(str, script.parts)) for script in root.all("script"))


def test_a_fast_result_has_no_mesh_and_no_picture(quick, tmp_path):
    root = read(write_report(quick, tmp_path / "a.html").read_text(encoding="utf-8"))
    assert "Mesh of the FE model" not in root.tables()
    assert "FE model." not in root.one("section", id="method").words
    result = Result.load(quick)
    assert still_picture(result)[1] in root.one("section", id="scene").words


def test_a_last_step_that_is_not_reached_is_reported(make_case, tmp_path):
    solve(make_case(threads=[], pressure__end="20 kPa"), "fast").save(tmp_path)
    root = read(write_report(tmp_path).read_text(encoding="utf-8"))
    assert "NOT REACHED" in root.one("header").words
    assert "balloon limit at 11.8 kPa" in root.one("section", id="summary").words
    assert "no threads" in root.one("section", id="case").words


def test_the_page_of_a_tube_without_threads_does_not_mention_them(make_case, tmp_path):
    """And a limit that was passed is in the summary, though the last step was reached."""
    bare = make_case(threads=[], pressure=None, volume={"added": "40 mL", "steps": 4})
    result = solve(bare, ["fe", "fast"], "1x1x6")
    result.save(tmp_path)
    root = read(write_report(tmp_path).read_text(encoding="utf-8"))
    assert not [row for row in root.tables()["Mesh of the FE model"] if not row[1].strip()]
    for part in ("method", "definitions"):
        assert "thread" not in root.one("section", id=part).words.lower(), part
    fast = result.runs[1]
    assert fast.model == "fast" and fast.reached and not fast.ends_at_limit
    assert "balloon limit" in run_sentence(fast, bare)
    assert minus(run_sentence(fast, bare)) in root.one("section", id="summary").words


def test_the_page_of_a_tube_with_threads_describes_them(report):
    for part in ("method", "definitions"):
        assert "thread" in report.one("section", id=part).words


def test_a_page_that_is_too_large_omits_shapes_in_order(make_case):
    """First states of the interactive shapes, then these, then their picture; each is listed."""
    result = solve(make_case(pressure__steps=3), "fe", "1x1x2")
    texts = [*result_pages(result)]
    pages = [read(text) for text in texts]
    omitted = [omitted_in(root) for root in pages]
    assert omitted[0] == []
    for lines, fact in zip(omitted[1:], ["every second", "replaces", "picture"], strict=True):
        (line,) = lines
        assert_states(line, "interactive shapes", fact)
    assert [*map(len, texts)] == sorted(map(len, texts), reverse=True)
    assert [len(root.all("img")) for root in pages] == [1, 1, 1, 0]
    assert "scene" not in {element.attributes.get("id") for element in pages[-1].elements}


def test_a_page_that_cannot_be_small_enough_is_not_written(quick, monkeypatch, tmp_path):
    monkeypatch.setattr(page, "MAX_BYTES", 1000)
    with refused(InputError, "0.001 MB"):
        write_report(quick, tmp_path / "a.html")
    assert not [*tmp_path.iterdir()]


def test_shapes_that_are_far_too_large_are_not_packed(make_case, monkeypatch):
    """A tube with 60 000 pieces of threads in each of nine states exceeds the limit."""
    steep = {"threads__0__angle": "85 deg", "threads__1__angle": "-85 deg"}
    many = {"threads__0__count": 60, "threads__1__count": 60}
    case = make_case(**steep, **many, pressure={"end": "2 kPa", "steps": 8})
    shown = scene.result_views(solve(case, "fast"))
    packed = []
    monkeypatch.setattr(scene, "block", lambda fewer, _: packed.append(fewer) or "x" * 4_000_000)
    monkeypatch.setattr(page, "MAX_BYTES", 200_000)
    assert [*scene.scene_blocks(shown, "heavy")] == [] and packed == []


def test_pieces_of_threads_have_at_least_the_estimated_size(make_case):
    """Straight ones are smallest; the scripts, which each page has, are not counted."""
    for angle in ("0 deg", "60 deg"):
        changes = {f"threads__{k}__angle": angle for k in (0, 1)}
        many = {"threads__0__count": 200, "threads__1__count": 200}
        case = make_case(**changes, **many, pressure={"end": "2 kPa", "steps": 2})
        shown = scene.result_views(solve(case, "fast"))
        pieces = sum(map(scene._pieces, shown))
        own = len(scene.block(shown, "x")) - len(viewer_scripts())
        assert own > scene.MIN_PIECE_BYTES * pieces


def test_states_are_not_packed_if_the_pack_before_shows_they_are_too_large(result, monkeypatch):
    shown = scene.result_views(result)
    packed = []
    monkeypatch.setattr(scene, "block", lambda fewer, _: packed.append(fewer) or "x" * 90_000)
    monkeypatch.setattr(page, "MAX_BYTES", 30_000)
    assert [stride for _, stride in scene.scene_blocks(shown, "x")] == [1]
    monkeypatch.setattr(page, "MAX_BYTES", 60_000)
    assert [stride for _, stride in scene.scene_blocks(shown, "x")] == [1, 2]


def test_thinned_shapes_keep_their_first_and_last_states(result):
    whole = scene.result_views(result)[0]
    many = scene.replace(whole, rows=whole.rows[:1] * 4 + whole.rows[-1:], shapes=[*range(5)])
    assert scene.thinned(many, 3).shapes == [0, 3, 4]
    assert scene.thinned(many, 8).shapes == [0, 4]


def test_a_machine_that_cannot_draw_has_its_report(result, monkeypatch):
    def refuse(*_):
        raise OSError("no OpenGL")

    monkeypatch.setattr("fem.scene.still.path.draw_shape", refuse)
    still, note = scene.still_picture(result)
    assert still is None and "no OpenGL" in note


# ---------------------------------------------------------------------------------------- a study


def test_a_study_has_counts_and_ranges_of_each_model(study_text, studied):
    root, study_result = read(study_text), StudyResult.load(studied)
    tables = root.tables()
    counts = tables[counts_table(study_result).caption]
    assert [row[:6] for row in counts] == [["fast", *"60006"], ["FE", *"60006"]]
    last = study_result.of("fe")[study_result.of("fe").pressure_kPa == 4.0]
    row = last.loc[last.twist_deg.idxmax()]
    cells = dict((cells[0], cells[1:]) for cells in tables["FE at 4 kPa"])["twist [deg]"]
    greatest = [float(cell.replace("−", "-")) for cell in cells[len(cells) // 2 :][:2]]
    assert greatest[0] == pytest.approx(row.twist_deg, rel=1e-3)
    assert greatest[1] == row["angle_deg.A"]


def test_the_stored_shapes_of_a_study_are_shown(study_text, studied):
    root = read(study_text)
    (key,) = (folder.name for folder in (studied / SHAPES).iterdir())
    part = root.one("section", id="scene")
    assert "helix angle of A: 10 deg" in part.one("h3").words
    assert len(part.all("img")) == 1
    assert (
        key == Case.parse(json.loads((studied / SHAPES / key / "run.json").read_text())["case"]).key
    )


def test_a_study_has_a_caption_for_each_picture(study_text, studied):
    part = read(study_text).one("section", id="pictures")
    captions = [caption.words for caption in part.all("figcaption")]
    assert len(captions) == len(part.all("svg")) + len(part.all("img"))
    headings = [layout.heading for _, layout in figures(StudyResult.load(studied))]
    assert all(map(str.startswith, captions, headings))


def test_a_hostile_title_of_a_study_remains_text(study_text):
    assert read(study_text).one("h1").words == " ".join(HOSTILE.split())


def test_curves_that_ended_early_are_listed_with_their_settings(cases_folder, tmp_path):
    job_list = small(
        cases_folder,
        models=["fast"],
        set={"pressure.end": "15 kPa", "pressure.steps": 2},
        vary=[
            {"field": "threads.A.slack", "same": ["threads.B.slack"], "values": ["100 %"]},
            {"field": "threads.A.count", "values": [12, 1000]},
        ],
    )
    study_result = run(job_list, tmp_path, SerialExecutor())
    study_result.save(tmp_path)
    assert {entry["status"] for entry in study_result.run_record["not_reached"]} == {"ended"}
    tables = read(write_report(tmp_path).read_text(encoding="utf-8")).tables()
    (caption,) = (table.caption for table in not_reached_tables(study_result))
    (row,) = tables[caption]
    assert "count.A 12" in row[0] and row[2] == "ended at a limit" and "balloon limit" in row[3]
    ((setting, reason),) = tables["Invalid settings"]
    assert "threads.A.count 1000" in setting and "500" in reason


def test_a_study_that_is_too_large_omits_shapes_first(studied, monkeypatch):
    """Then pictures, from the last; each page is smaller than the one before and lists them."""
    drawn = [Picture(Markup(f"<svg>{'x' * 1000}</svg>"), f"picture {n}", 10, 1.0) for n in "123"]
    monkeypatch.setattr("fem.report.study._pictures", lambda _: drawn)
    pages = [read(text) for text in study_pages(StudyResult.load(studied), studied)]
    assert len(pages) == 5
    shapes = ["interactive shapes" in " ".join(omitted_in(root)) for root in pages]
    assert shapes == [False, True, True, True, True]
    assert "A: 10 deg" in omitted_in(pages[1])[0]
    assert [len(root.all("svg")) - len(pages[-1].all("svg")) for root in pages] == [3, 3, 2, 1, 0]
    assert "a picture: picture 3" in pages[2].words
    assert len(pages[1].one("section", id="scene").all("img")) == 1, "their picture remains"
    ids = {element.attributes.get("id") for element in pages[-1].elements}
    assert "pictures" not in ids and "scene" in ids


def omitted_in(root):
    """Return the list of omitted parts of a page."""
    blocks = [one for one in root.all("div") if one.attributes.get("class") == "omitted"]
    return [line.words for block in blocks for line in block.all("li")]


# ------------------------------------------------------------------------------------- the command


def command(monkeypatch, *arguments):
    monkeypatch.setattr(sys, "argv", ["tubewright", "report", *map(str, arguments)])
    with pytest.raises(SystemExit) as end:
        main()
    return end.value.code


def test_the_command_writes_into_the_result_and_prints_a_caution(quick, monkeypatch, capsys):
    (quick / NAME).unlink(missing_ok=True)
    assert command(monkeypatch, quick) == 0
    assert (quick / NAME).exists()
    assert_states(capsys.readouterr().out, str(quick / NAME), CAUTION)


def test_the_command_writes_the_named_file(quick, monkeypatch, tmp_path):
    (tmp_path / "new").mkdir()
    file = tmp_path / "new" / "wrist.html"
    assert command(monkeypatch, quick, "--out", file) == 0
    assert file.exists() and [*file.parent.iterdir()] == [file]


def test_bad_input_is_refused_by_file_and_key(quick, studied, monkeypatch, tmp_path, capsys):
    names = ("empty", "broken", "old", "half", "taken")
    empty, broken, old, half, taken = (tmp_path / name for name in names)
    empty.mkdir()
    shutil.copytree(quick, broken)
    (broken / "run.json").write_text("{", encoding="utf-8")
    shutil.copytree(studied, old)
    record = json.loads((old / "run.json").read_text(encoding="utf-8"))
    del record["cases"]
    (old / "run.json").write_text(json.dumps(record), encoding="utf-8")
    shutil.copytree(studied, half)
    (half / "table.parquet").write_bytes(b"no table")
    taken.write_text("a file", encoding="utf-8")
    for arguments, *facts in [
        ((tmp_path / "none",), f"{tmp_path / 'none'}: ", "no such folder"),
        ((taken,), f"{taken}: ", "file"),
        ((empty,), f"{empty / 'run.json'}: ", "missing"),
        ((broken,), f"{broken / 'run.json'}: ", "JSON"),
        ((half,), "table.parquet: ", "run.json"),
        ((old,), f"{old / 'run.json'}: ", "cases: "),
        ((quick, "--out", tmp_path), f"{tmp_path}: ", "folder"),
        ((quick, "--out", taken / "a.html"), f"{taken}: ", "file"),
        ((quick, "--out", taken / "b" / "a.html"), f"{taken / 'b'}: ", "no such folder"),
        ((quick, "--out", tmp_path / "new" / "a.html"), f"{tmp_path / 'new'}: ", "no such folder"),
    ]:
        assert command(monkeypatch, *arguments) == 2, arguments
        error = capsys.readouterr().err
        assert_states(error, "error: ", *facts)
        assert "Traceback" not in error
    assert not (tmp_path / "new").exists()
