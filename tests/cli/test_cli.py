import io
import json
import os
import re
import subprocess
import sys
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from PIL import Image

from photocheck import __version__
from photocheck.case.model import Reference
from photocheck.case.samples import samples_folder
from photocheck.cli import main
from photocheck.errors import DecodingFailedError, ScaleError
from photocheck.locating import Located
from photocheck.report.file import report_from_dict, report_to_dict
from photocheck.scale.seen import ReferenceSeen
from photocheck.shown.plain import plain_located, plain_report, table
from photocheck.uploads.take import decoding_failed
from photocheck.words import EXIT_CODES, LANDMARKS, VERDICTS
from tests.support.made_report import MARKS, made_report
from tests.support.places import SAMPLES
from tests.support.tagged_photo import tagged


@pytest.fixture(scope="module")
def grey():
    """A grey photo's file; written once, for writing it takes longer than most of these tests."""
    held = io.BytesIO()
    Image.fromarray(np.full((3024, 4032, 3), 140, np.uint8)).save(held, "JPEG", quality=30)
    return held.getvalue()


@pytest.fixture
def side(tmp_path, monkeypatch, grey):
    """A photo in the current folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "side.jpg").write_bytes(grey)
    return tmp_path / "side.jpg"


@pytest.fixture
def checked(monkeypatch):
    """The computation, replaced by a hand-made report; keeps what it was asked."""
    asked = SimpleNamespace(case=None, options=None, verdict="measure_again", error=None)

    def check(case, *, on_photo=None, **options):
        asked.case, asked.options = case, options
        if asked.error is not None:
            raise asked.error
        for number, _ in enumerate(case.photos):
            on_photo(number + 1)
        return made_report("side.jpg", asked.verdict, photos=len(case.photos))

    monkeypatch.setitem(sys.modules, "photocheck.checking", SimpleNamespace(check=check))
    return asked


FLAGS = [
    "check",
    "--photo", "side.jpg",
    "--reference", "id_card",
    "--place", "near_feet",
    "--offset", "-12 cm",
    "--corners", "1500,2250 1790,2262 1788,2440 1497,2432.5",
    "--bend", "front_length=1010,1420",
    "--bend", "front-length=1330,1490",
    "--half-neck", "14 1/2",
    "--rear-length", "18 in",
    "--rear-length", "18 1/4",
    "--unit", "in",
    "--coat", "medium",
    "--build", "slim",
    "--girth", "70 cm",
    "--neck-width", "4 3/4",
    "--chest-width", "8",
    "--height", "58 cm",
    "--weight", "62 lb",
    "--focal-35mm", "26",
    "--name", "Order 7",
    *[part for name in LANDMARKS for part in ("--mark", "{}={},{}".format(name, *MARKS[name]))],
]  # fmt: skip


def ran(capsys, *arguments):
    code = main.run([str(argument) for argument in arguments])
    said = capsys.readouterr()
    assert "Traceback" not in said.err + said.out
    return code, said.out, said.err


# --- check -----------------------------------------------------------------


@pytest.mark.parametrize("verdict", VERDICTS)
def test_exit_code_says_the_verdict(side, checked, capsys, verdict):
    checked.verdict = verdict
    code, out, err = ran(capsys, *FLAGS)
    assert code == EXIT_CODES[verdict]
    assert err == ""
    assert made_report().headline.split(":")[0] in out


def test_exit_codes_are_all_different():
    codes = [*EXIT_CODES.values(), main.FAILED, main.INTERRUPTED]
    assert len(set(codes)) == len(codes)


def test_flags_make_the_same_case_as_a_file(side, checked, capsys, tmp_path):
    ran(capsys, *FLAGS, "--false-alarms", "0.05")
    by_flags = checked.case
    assert checked.options["false_alarms"] == 0.05
    data = {
        "format": "photocheck-case/1",
        "name": "Order 7",
        "unit": "in",
        "readings": {"half_neck": "14 1/2", "rear_length": ["18 in", "18 1/4"]},
        "dog": {
            "coat": "medium",
            "build": "slim",
            "girth": "70 cm",
            "neck_width": "4 3/4",
            "chest_width": "8",
            "height": "58 cm",
            "weight": "62 lb",
        },
        "photos": [
            {
                "file": "side.jpg",
                "reference": {
                    "kind": "id_card",
                    "place": "near_feet",
                    "offset": "-12 cm",
                    "corners": [[1500, 2250], [1790, 2262], [1788, 2440], [1497, 2432.5]],
                },
                "markings": [
                    {
                        "marks": {name: MARKS[name] for name in LANDMARKS},
                        "bends": {"front_length": [[1010, 1420], [1330, 1490]]},
                    }
                ],
                "focal_35mm": 26,
            }
        ],
    }
    (tmp_path / "case.json").write_text(json.dumps(data))
    ran(capsys, "check", "case.json")
    assert checked.case == by_flags


def test_json_is_the_whole_report(side, checked, capsys):
    code, out, err = ran(capsys, *FLAGS, "--json")
    assert code == EXIT_CODES["measure_again"]
    assert err == ""
    assert json.loads(out) == report_to_dict(made_report())
    assert report_from_dict(json.loads(out)) == made_report()


@pytest.mark.slow
def test_picture(side, checked, capsys, tmp_path):
    code, _, _ = ran(capsys, *FLAGS, "--picture", "out.png")
    assert code == EXIT_CODES["measure_again"]
    assert Image.open(tmp_path / "out.png").size[0] == 1600
    # What was loaded for the picture is not loaded a second time for the check.
    assert list(checked.options["photos"]) == ["side.jpg"]


@pytest.mark.slow
def test_several_photos_give_several_pictures(side, checked, capsys, tmp_path):
    from photocheck.case.file import case_to_dict

    case = made_report(str(side), photos=2).case
    (tmp_path / "case.json").write_text(json.dumps(case_to_dict(case)))
    ran(capsys, "check", "case.json", "--picture", "out.jpg")
    assert (tmp_path / "out.jpg").is_file()
    assert (tmp_path / "out-2.jpg").is_file()


def with_changed(flag: str, value: str | None) -> list[str]:
    flags = list(FLAGS)
    at = flags.index(flag)
    flags[at : at + 2] = [] if value is None else [flag, value]
    return flags


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["check"], "nothing to check is given"),
        (["check", "none.json"], "there is no such case file"),
        (["check", "case.json", "--coat", "long"], "both a case file and --coat are given"),
        (with_changed("--photo", None), "--photo is missing. Name the photo file."),
        (with_changed("--photo", "nose.jpg"), "'nose.jpg' is not there"),
        (with_changed("--reference", None), "--reference is missing"),
        (with_changed("--reference", "id-card"), "Did you mean 'id_card'"),
        (with_changed("--place", "moon"), '"moon" is not known'),
        (with_changed("--offset", "far"), "offset: 'far' cannot be read"),
        (with_changed("--corners", "1,2 3,4"), "2 given here, exactly 4"),
        (with_changed("--corners", "1,2 3"), "--corners: '3' is not a point"),
        (with_changed("--bend", "1,2"), "does not say what it marks"),
        (with_changed("--bend", "neck=1,2"), "'neck' is not known"),
        (with_changed("--half-neck", "abc"), "half neck: 'abc' cannot be read"),
        (with_changed("--half-neck", "40"), "40 in = 101.6 cm is longer than any dog"),
        (with_changed("--weight", "x"), "weight: 'x' cannot be read"),
        (with_changed("--unit", "feet"), "'feet' is not one of"),
        (with_changed("--focal-35mm", "wide"), "'wide' is not a valid"),
        (with_changed("--focal-35mm", "1"), "focal 35mm: 1.0 is outside"),
        ([*FLAGS, "--mark", "tail-base=1,2"], "'tail_base' is given twice"),
        ([*FLAGS, "--mark", "nose=1,2"], "'nose' is not known"),
        ([*FLAGS, "--near", "1;2"], "--near: '1;2' is not a point"),
        ([*FLAGS, "--picture", "out.bmp"], "End the name in .jpg or .png"),
        ([*FLAGS, "--picture", "no/such/out.jpg"], "cannot be written"),
        ([*FLAGS, "--colour"], "No such option"),
        (["check", "--half-neck", "36"], "--photo is missing"),
        (["fly"], "No such command"),
        (["sheet"], "--paper"),
        (["sheet", "--paper", "a4", "--small"], "--small: the small set is one of tags"),
        (["locate", "none.jpg"], "there is no such photo"),
    ],
)
def test_bad_input_is_told_in_a_sentence(side, checked, capsys, arguments, why):
    code, out, err = ran(capsys, *arguments)
    assert code == EXIT_CODES["bad_input"]
    assert out == ""
    assert why in err


def test_an_error_of_the_computation(side, checked, capsys):
    checked.error = ScaleError("no card was found", where="photo 1", do="Mark its corners")
    code, _, err = ran(capsys, *FLAGS)
    assert code == EXIT_CODES["bad_input"]
    assert err == "photocheck: photo 1: no card was found. Mark its corners.\n"


def test_nothing_is_written_when_the_check_fails(side, checked, capsys, tmp_path):
    checked.error = ScaleError("no card was found")
    ran(capsys, *FLAGS, "--picture", "out.jpg")
    assert [p.name for p in tmp_path.iterdir()] == ["side.jpg"]


# --- failures of the program -----------------------------------------------


def test_unexpected_failure_is_one_line(side, checked, capsys):
    checked.error = ZeroDivisionError("division\nby zero")
    code, _, err = ran(capsys, *FLAGS)
    assert code == main.FAILED
    assert err.count("\n") == 1
    assert "ZeroDivisionError: division by zero" in err
    assert "report it" in err
    assert "--debug" in err


@pytest.mark.parametrize("at", [0, 1, -1])
def test_debug_shows_the_traceback(side, checked, at):
    checked.error = ZeroDivisionError("division by zero")
    flags = list(FLAGS)
    flags.insert(at if at >= 0 else len(flags), "--debug")
    with pytest.raises(ZeroDivisionError):
        main.run(flags)


def test_missing_system_library_names_the_package(side, checked, capsys):
    checked.error = ImportError(
        "libGL.so.1: cannot open shared object file: No such file or directory"
    )
    code, _, err = ran(capsys, *FLAGS)
    assert code == main.FAILED
    assert "libGL.so.1 is missing" in err
    assert "apt-get install libgl1 libglib2.0-0" in err
    assert err.count("\n") == 1


def test_a_library_too_old_is_not_a_damaged_photo(capsys, monkeypatch):
    monkeypatch.delattr(cv2, "IMREAD_COLOR_RGB")
    code, out, err = ran(capsys, "check", str(samples_folder() / "flint" / "case.json"))
    assert (code, out) == (main.FAILED, "")
    assert "AttributeError: module 'cv2' has no attribute 'IMREAD_COLOR_RGB'" in err
    for blamed in ("photo again", "picture", "damaged", "flint"):
        assert blamed not in err


def test_a_decoder_that_fails_in_its_own_process_is_no_bad_input(side, checked, capsys):
    checked.error = decoding_failed("side.jpg")
    code, out, err = ran(capsys, *FLAGS)
    assert (code, out) == (main.FAILED, "")
    assert "the program failed" in err
    assert "damaged" not in err
    with pytest.raises(DecodingFailedError):
        main.run([*FLAGS, "--debug"])


def test_interrupt(side, checked, capsys):
    checked.error = KeyboardInterrupt()
    assert ran(capsys, *FLAGS)[0] == 130


def test_too_little_memory(side, checked, capsys):
    checked.error = MemoryError()
    code, _, err = ran(capsys, *FLAGS)
    assert code == main.FAILED
    assert "memory" in err


# --- the text --------------------------------------------------------------


def test_plain_report_says_everything():
    report = made_report(unit="in")
    text = plain_report(report)
    lines = text.splitlines()
    assert lines[0] == report.case.name
    assert " ".join(lines[2:4]).startswith(report.headline[:60])
    assert max(map(len, lines)) <= 100
    told = [e.title for e in report.explanations]
    for said in (*told, *report.redundancy, *report.cautions, report.next_step):
        assert said.split(".")[0] in " ".join(text.split())
    assert report.spans[2].sentence in " ".join(text.split())
    assert "narrow the intervals by 20 to 20 %" in " ".join(text.split())
    for source in report.budget:
        assert source.title in text
    assert report.photos[0].remarks[0] in text
    row = next(line for line in lines if line.startswith("rear length"))
    assert re.sub(r"\s+", " ", row) == (
        "rear length 18 in 13 1/4 in 12 1/8 to 14 1/2 in 35.3 % longer measure again"
    )


def test_plain_report_in_centimetres_and_without_a_reading():
    report = made_report(unit="cm")
    spans = [*report.spans]
    spans[0] = type(spans[0])(
        **{**vars(spans[0]), "reading_mm": None, "difference": None, "verdict": ""}
    )
    text = plain_report(type(report)(**{**vars(report), "spans": tuple(spans)}))
    row = next(line for line in text.splitlines() if line.startswith("half neck"))
    assert re.sub(r"\s+", " ", row) == "half neck not given 36.1 cm 33.1 to 39.4 cm"


def test_table_is_aligned():
    lines = table([("a", "bb"), ("ccc", "d")], right=[1]).splitlines()
    assert lines == ["a    bb", "ccc   d"]


# --- locate, sheet, schema -------------------------------------------------

FOUND = Located(
    "id_card",
    "marked",
    ((1500.0, 2250.0), (1790.0, 2262.0), (1788.0, 2440.0), (1497.0, 2432.0)),
    (4032, 3024),
    2680.0,
    3.1,
    -2.4,
    0.6,
    1.9,
    26.0,
    "exif 35 mm",
    ("One corner is hidden.",),
)


@pytest.fixture
def located(monkeypatch):
    asked = SimpleNamespace(reference=None, near=None, diameter_mm=None, found=(FOUND,))

    def locate(photo, reference=None, *, near=None, diameter_mm=None):
        asked.reference, asked.near, asked.diameter_mm = reference, near, diameter_mm
        return asked.found

    monkeypatch.setattr("photocheck.locating.locate", locate)
    return asked


@pytest.mark.slow
def test_locate(side, located, capsys, tmp_path):
    code, out, _ = ran(capsys, "locate", "side.jpg")
    assert code == 0
    assert located.reference is None
    assert out.strip() == plain_located(FOUND)
    for said in ("2.68 m", "yaw +3.1", "19.0 px/cm", "1500.0,2250.0", "One corner is hidden."):
        assert said in out
    code, out, _ = ran(
        capsys, "locate", "side.jpg", "--json", "--reference", "disc", "--near", "3,4",
        "--diameter", "10", "--unit", "in", "--picture", "seen.jpg",
    )  # fmt: skip
    assert located.reference.diameter_mm == 254.0
    assert located.reference.near == (3.0, 4.0)
    (told,) = json.loads(out)["seen"]
    assert told["distance_mm"] == 2680.0
    assert told["points_px"][0] == [1500.0, 2250.0]
    assert Image.open(tmp_path / "seen.jpg").size == (1600, 1200)


@pytest.mark.parametrize("yaw", [0.0, 25.0])
def test_located_distance_and_turn_by_hand(monkeypatch, yaw):
    """An A4 sheet 2 m off the middle of the picture, turned about the vertical."""
    from photocheck.locating import locate
    from photocheck.photo.photo import CameraFacts, Photo

    x, y = np.array([[-148.5, -105], [148.5, -105], [148.5, 105], [-148.5, 105]]).T
    angle = np.radians(yaw)
    focal = 26.0 * np.hypot(4032, 3024) / np.hypot(36, 24)
    depth = 2000.0 - x * np.sin(angle)
    pixels = np.column_stack([x * np.cos(angle) / depth, y / depth]) * focal + [2015.5, 1511.5]
    seen = ReferenceSeen("a4", "marked", np.column_stack([x, y]), pixels, 0.3, 0.002)
    monkeypatch.setattr("photocheck.scale.find.see_reference", lambda rgb, reference: seen)
    monkeypatch.setattr("photocheck.scale.find.locate_any", lambda rgb, near, **more: (seen,))
    facts = CameraFacts(26.0, "exif 35 mm", focal_spread=0.03)
    photo = Photo(np.zeros((3024, 4032, 3), np.uint8), facts, "", "JPEG")
    for reference in (None, Reference("a4")):
        (found,) = locate(photo, reference)
        assert found.distance_mm == pytest.approx(2000.0, rel=0.01)
        assert abs(found.yaw_deg) == pytest.approx(yaw, abs=1.5)
        assert found.pitch_deg == pytest.approx(0.0, abs=1.0)
        assert found.roll_deg == pytest.approx(0.0, abs=0.5)
        assert found.px_per_mm == pytest.approx(focal / 2000.0 * np.sqrt(np.cos(angle)), rel=0.01)
        assert found.focal_35mm == pytest.approx(26.0)
        assert np.allclose(found.points_px, pixels)


@pytest.mark.slow
def test_locate_without_a_kind(side, located, capsys):
    located.found = (FOUND, FOUND)
    code, out, _ = ran(capsys, "locate", "side.jpg", "--near", "3,4", "--diameter", "2 in")
    assert code == 0
    assert located.reference is None
    assert located.near == (3.0, 4.0)
    assert located.diameter_mm == 50.8
    assert out.count("bank or identity card") == 2
    code, _, err = ran(capsys, "locate", "side.jpg", "--corners", "3,4")
    assert code == EXIT_CODES["bad_input"]
    assert "given here, exactly 4" in err or "'kind' is missing" in err


@pytest.mark.slow
def test_locate_finds_nothing_in_an_empty_picture(side, capsys):
    code, out, err = ran(capsys, "locate", "side.jpg")
    assert code == EXIT_CODES["bad_input"]
    assert out == ""
    assert "nothing of known size was found" in err


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_sheet(tmp_path, monkeypatch, capsys, paper):
    monkeypatch.chdir(tmp_path)
    code, out, _ = ran(capsys, "sheet", "--paper", paper)
    assert code == 0
    assert f"marker-sheet-{paper}.pdf" in out
    assert (tmp_path / f"marker-sheet-{paper}.pdf").read_bytes().startswith(b"%PDF")
    assert ran(capsys, "sheet", "--paper", paper, "-o", "none/s.pdf")[0] == EXIT_CODES["bad_input"]


@pytest.mark.parametrize(
    ("small", "name"), [((), "tags-a4.pdf"), (("--small",), "tags-small-a4.pdf")]
)
def test_sheet_of_tags(tmp_path, monkeypatch, capsys, small, name):
    monkeypatch.chdir(tmp_path)
    code, out, _ = ran(capsys, "sheet", "--paper", "a4", "--tags", *small)
    assert code == 0
    assert name in out
    assert [file.name for file in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("which", ["case", "report"])
def test_schema(capsys, which):
    code, out, _ = ran(capsys, "schema", which)
    assert code == 0
    assert json.loads(out)["title"] == f"photocheck {which}"


# --- the installed command -------------------------------------------------


def command(*arguments, **options):
    return subprocess.run(
        [sys.executable, "-m", "photocheck", *arguments],
        capture_output=True, text=True, timeout=60, **options,
    )  # fmt: skip


def test_help_and_version_are_told():
    done = command("--help")
    assert done.returncode == 0
    assert "check" in done.stdout
    assert command("--version").stdout.strip().endswith(__version__)


@pytest.mark.parametrize("asked", [["--help"], ["check", "--help"], ["serve", "--help"]])
def test_help_loads_nothing_heavy(asked):
    """So it answers at once; how soon, `python -m photocheck.benchmark start` measures."""
    heavy = (
        *("numpy", "cv2", "scipy", "PIL", "skimage", "streamlit", "jsonschema", "sqlalchemy"),
        *("alembic", "cattrs", "jinja2", "babel", "pandas", "reportlab", "requests"),
    )
    code = (
        f"import sys, photocheck.cli.main as c; c.run({asked!r});"
        f"print(sorted(m for m in {heavy!r} if m in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout.strip().endswith("[]")


def test_a_check_loads_nothing_that_it_does_not_use():
    """Agreeing readings, a square dog, a sheet of paper, a JPEG, nothing learnt."""
    spare = (
        *("numpy.ma", "PIL.PngImagePlugin", "PIL.GifImagePlugin", "pillow_heif"),
        *("scipy.special", "scipy.optimize", "sqlalchemy", "photocheck.orders"),
        *("photocheck.judge.explain", "photocheck.judge.ratios", "photocheck.body.silhouette"),
        *("photocheck.scale.discs", "photocheck.scale.markers"),
    )
    case = str(SAMPLES / "sorrel" / "case.json")
    code = (
        f"import sys, photocheck.cli.main as c; assert c.run(['check', {case!r}]) == 0;"
        f"print(sorted(m for m in {spare!r} if m in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout.strip().endswith("[]"), done.stdout[-300:] + done.stderr


@pytest.mark.parametrize(("told", "threads"), [(None, 1), ("2", 2)])
def test_pictures_are_not_shared_among_threads_unless_the_person_says_so(told, threads):
    environment = {name: value for name, value in os.environ.items() if "THREADS" not in name}
    if told:
        environment["OPENCV_FOR_THREADS_NUM"] = told
    code = (
        "import photocheck.cli.main as c\n"
        "try:\n    c.main(['schema', 'report'])\n"
        "except SystemExit:\n    pass\n"
        "import cv2; print(cv2.getNumThreads())"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True, text=True, timeout=60, env=environment,
    )  # fmt: skip
    assert done.stdout.split()[-1] == str(threads), done.stderr


def test_a_closed_pipe_is_no_failure_worth_words():
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "w") as broken:
        done = subprocess.run(
            [sys.executable, "-m", "photocheck", "schema", "report"],
            stdout=broken, stderr=subprocess.PIPE, text=True, timeout=60,
        )  # fmt: skip
    assert "Traceback" not in done.stderr


def test_letters_the_terminal_lacks_do_not_stop_it(tmp_path):
    path = tmp_path / "Ж.json"
    environment = {**os.environ, "LC_ALL": "C", "PYTHONIOENCODING": "ascii"}
    done = subprocess.run(
        [sys.executable, "-X", "utf8=0", "-m", "photocheck", "check", str(path)],
        capture_output=True, timeout=60, env=environment,
    )  # fmt: skip
    assert done.returncode == EXIT_CODES["bad_input"]
    assert b"no such case file" in done.stderr


@pytest.mark.slow
def test_locate_lists_the_tags_on_a_dog(tmp_path, capsys):
    content, tips = tagged(sheet=False)
    photo = tmp_path / "side.jpg"
    photo.write_bytes(content)
    assert main.run(["locate", str(photo)]) == 0
    said = capsys.readouterr().out
    assert "tips of the tags" in said
    assert "tail base" in said
    assert main.run(["locate", str(photo), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["seen"] == []
    assert {tag["landmark"] for tag in told["tags"]} == set(tips)
    assert main.run(["locate", str(photo), "--reference", "marker_sheet"]) == 2


@pytest.mark.slow
def test_tags_alone_give_marks_and_scale(tmp_path, capsys):
    """No sheet, no mark: with Flint's own readings nothing stands out, 30 cm more does."""
    photo = tmp_path / "side.jpg"
    photo.write_bytes(tagged(sheet=False)[0])
    told = ["check", "--photo", str(photo), "--reference", "dog_tags", "--half-neck", "36 cm"]
    told += ["--front-length", "52.5 cm", "--rear-length", "27 cm", "--json"]
    main.run([*told, "--full-length", "79.5 cm"])
    report = json.loads(capsys.readouterr().out)
    assert report["verdict"] in ("agrees", "could_hide")
    assert report["case"]["photos"][0]["markings"][0]["by"] == "tags"
    assert main.run([*told, "--full-length", "109.5 cm"]) == 10
    capsys.readouterr()
    told[told.index("dog_tags")] = "marker_sheet"
    assert main.run([*told, "--full-length", "79.5 cm"]) == 2
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.slow
def test_tags_that_are_not_to_be_used_are_not_looked_for(tmp_path, capsys):
    photo = tmp_path / "side.jpg"
    content, tips = tagged()
    photo.write_bytes(content)
    assert main.run(["locate", str(photo), "--tags", "unused", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["tags"] == []
    told = ["check", "--photo", str(photo), "--full-length", "79.5 cm", "--json"]
    told += ["--tags", "unused", "--reference"]
    assert main.run([*told, "marker_sheet"]) == 2
    assert "nobody has marked this photo" in capsys.readouterr().err
    for name, (x, y) in tips.items():
        told[1:1] = ["--mark", f"{name}={x},{y}"]
    main.run([*told, "marker_sheet"])
    (entry,) = json.loads(capsys.readouterr().out)["case"]["photos"]
    assert [one["by"] for one in entry["markings"]] == ["owner"]
    assert main.run([*told, "dog_tags"]) == 2
    assert "cannot tell how large things are" in capsys.readouterr().err
