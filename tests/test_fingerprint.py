"""The fingerprint changes with what is made and how, and with nothing else."""

import subprocess
import sys
from pathlib import Path

import pytest
from commands import HAULER, ROOT, environment

from railmodel.fingerprint import SHOWN, fingerprint, short
from railmodel.frame import build_frame
from railmodel.job.reader import read_job

SHOP = """\
shop: Test shop
units: mm
bender: {centreline_height: 900}
dies:
  hard 200: {height: 80, width: 40, way: hard, radius: 200, grip: 100, between: 110, tail: 150}
  easy 120: {height: 80, width: 40, way: easy, radius: 120, grip: 80, between: 90, tail: 120}
test_bends: bends.csv
stock:
  - {tube: main, length: 6 m, kerf: 2, end_trim: 10}
"""
BENDS = """\
date,die,tube,set_angle,measured_angle
2031-02-03,hard 200,main,31.0,30.0
2031-02-03,easy 120,main,31.0,30.0
"""
JOB = """\
job: Test frame
revision: B
units: mm
shop: shop.yaml
tubes:
  main: {height: 80, width: 40, wall: 3, corner: 6}
parts:
  - name: rail
    tube: main
    path: [{straight: 400}, {bend: {toward: top, angle: 30, die: hard 200}}, {straight: 508}]
"""


def taken(folder: Path, job: str = JOB, shop: str = SHOP, bends: str = BENDS) -> str:
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in (("job.yaml", job), ("shop.yaml", shop), ("bends.csv", bends)):
        (folder / name).write_text(text)
    return fingerprint(build_frame(read_job(folder / "job.yaml")))


def swapped(text: str, old: str, new: str) -> str:
    assert text.count(old) == 1
    return text.replace(old, new)


def test_it_is_a_sha_256_and_papers_show_its_first_twelve_digits(tmp_path: Path) -> None:
    whole = taken(tmp_path)
    assert len(whole) == 64
    assert int(whole, 16) >= 0
    assert short(whole) == whole[:SHOWN]
    assert len(short(whole)) == 12


def test_how_and_where_the_job_is_written_does_not_change_it(tmp_path: Path) -> None:
    before = taken(tmp_path / "here")
    rewritten = """\
# a comment, other keys first, flow turned to block, a length as a tape reads it, defaults written out
shop: shop.yaml
units: mm
parts:
  - tube: main
    hand: single
    path:
      - straight: 40 cm
      - bend: {die: hard 200, angle: 30.0, toward: top}
      - straight: 20 in
    name: rail
tubes:
  main: {corner: 6.0, wall: 3, width: 40, height: 80}
revision: B
job: Test frame
"""
    assert taken(tmp_path / "some" / "where else", rewritten) == before


@pytest.mark.parametrize(
    "line", ["customer: somebody", "address: |\n  a street\n  a town", "note: ask about the hitch"]
)
def test_words_that_no_part_is_made_from_do_not_change_it(tmp_path: Path, line: str) -> None:
    assert taken(tmp_path / "with", f"{JOB}{line}\n") == taken(tmp_path / "without")


def test_what_the_solver_may_change_does_not_change_it_until_it_does(tmp_path: Path) -> None:
    freed = swapped(JOB, "{straight: 400}", "{straight: 400, free: [350, 450]}") + "angles_to: 1\n"
    assert taken(tmp_path / "free", freed) == taken(tmp_path / "fixed")
    assert taken(tmp_path / "solved", freed.replace("{straight: 400,", "{straight: 420,")) != taken(tmp_path / "fixed")


def test_what_the_job_does_not_use_in_the_shop_does_not_change_it(tmp_path: Path) -> None:
    shop = SHOP.replace("shop: Test shop", "shop: Another name\nrates: {hour: 90}\nnote: words")
    shop = swapped(shop, "radius: 120", "radius: 125") + "  - {tube: other, length: 6 m, kerf: 2, end_trim: 10}\n"
    bends = BENDS + "2031-02-04,easy 120,main,61.0,60.0\n"
    assert taken(tmp_path / "more", JOB, shop, bends) == taken(tmp_path / "less")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("revision: B", "revision: C"),
        ("job: Test frame", "job: Test frames"),
        ("wall: 3", "wall: 3.2"),
        ("angle: 30", "angle: 30.1"),
        ("straight: 508", "straight: 508.1"),
        ("toward: top", "toward: bottom"),
        ("name: rail\n", "name: rail\n    leading_end: rear\n"),
    ],
)
def test_another_part_has_another_fingerprint(tmp_path: Path, old: str, new: str) -> None:
    assert taken(tmp_path / "new", swapped(JOB, old, new)) != taken(tmp_path / "old")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("grip: 100", "grip: 420"),
        ("radius: 200", "radius: 201"),
        ("tail: 150}", "tail: 150, mark_offset: 5}"),
        ("kerf: 2", "kerf: 3"),
        ("{centreline_height: 900}", "{centreline_height: 900, bends: counter-clockwise}"),
        ("units: mm", "units: mm\nroll_within: 1.0"),
        ("units: mm", "units: mm\ntape_step: 1/32"),
    ],
)
def test_another_way_to_make_it_has_another_fingerprint(tmp_path: Path, old: str, new: str) -> None:
    assert taken(tmp_path / "new", shop=swapped(SHOP, old, new)) != taken(tmp_path / "old")


def test_a_test_bend_on_its_die_changes_it_and_the_note_beside_one_does_not(tmp_path: Path) -> None:
    before = taken(tmp_path / "old")
    assert taken(tmp_path / "bend", bends=f"{BENDS}2031-02-04,hard 200,main,61.0,60.0\n") != before
    assert taken(tmp_path / "date", bends=BENDS.replace("2031-02-03", "2031-02-05")) == before


MESH_JOB = f"""{JOB}keep_clear:
  - {{name: engine, gap: 10, shape: {{mesh: NAME, units: mm, place: {{at: [0, 900, 0]}}}}}}
"""


def test_a_mesh_stands_for_what_is_in_it_not_for_its_name(tmp_path: Path) -> None:
    def meshed(name: str, content: bytes) -> str:
        folder = tmp_path / name
        folder.mkdir()
        (folder / name).write_bytes(content)
        return taken(folder, MESH_JOB.replace("NAME", name))

    first = meshed("one.stl", b"solid a\nendsolid a\n")
    assert meshed("two.stl", b"solid a\nendsolid a\n") == first
    assert meshed("three.stl", b"solid b\nendsolid b\n") != first


def test_another_process_finds_the_same() -> None:
    code = (
        "import sys\nfrom pathlib import Path\nfrom railmodel.fingerprint import fingerprint\n"
        "from railmodel.frame import build_frame\nfrom railmodel.job.reader import read_job\n"
        f"print(fingerprint(build_frame(read_job(Path({str(HAULER)!r})))))"
    )
    run = [sys.executable, "-c", code]
    found = subprocess.run(
        run, cwd=ROOT, check=True, capture_output=True, text=True, env=environment(PYTHONHASHSEED="7")
    )
    assert found.stdout.strip() == fingerprint(build_frame(read_job(HAULER)))
