"""The record of test bends: reading goes on past broken lines, adding never touches what is there."""

import csv
import multiprocessing
from math import radians
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.bending.bend_log import COLUMNS, LoggedBend, read_bend_log
from railmodel.bending.bend_log_append import append_bend
from railmodel.errors import InputError

HEADER = "date,die,tube,wall,grade,heat,set_angle,measured_angle,tube_used,note\n"
GOOD = "2024-03-01,hard 7,main,3/16,A500-B,H1,30,28.2,3.6,\n"
BEND = LoggedBend(die="hard 7", tube="main", set_angle=radians(30), measured_angle=radians(28.25))


def log(folder: Path, text: str | bytes) -> Path:
    path = folder / "test_bends.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def test_a_line_is_read_with_its_units(tmp_path):
    bend = read_bend_log(log(tmp_path, HEADER + GOOD), "in").bends[0]
    assert (bend.die, bend.tube, bend.grade, bend.heat, bend.line) == ("hard 7", "main", "A500-B", "H1", 2)
    assert bend.wall == pytest.approx(25.4 * 3 / 16, abs=1e-12)
    assert bend.tube_used == pytest.approx(25.4 * 3.6, abs=1e-12)
    assert bend.set_angle == radians(30)
    assert bend.springback == pytest.approx(radians(1.8), abs=1e-15)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (",hard 7,main,,,,thirty,28,,\n", 'set_angle is "thirty"; allowed: degrees above 0 and up to 180'),
        (",hard 7,main,,,,30,,,\n", 'measured_angle is ""'),
        (",hard 7,main,,,,nan,28,,\n", 'set_angle is "nan"'),
        (",hard 7,main,,,,30,inf,,\n", 'measured_angle is "inf"'),
        (",hard 7,main,,,,30,-2,,\n", 'measured_angle is "-2"'),
        (",hard 7,main,,,,3_0,28,,\n", 'set_angle is "3_0"'),
        (",,main,,,,30,28,,\n", "die is empty"),
        (",hard 7,,,,,30,28,,\n", "tube is empty"),
        (",hard 7,main,thin,,,30,28,,\n", 'wall: found "thin"'),
        (",hard 7,main,-0.1,,,30,28,,\n", 'wall is "-0.1"'),
        (",hard 7,main,,,,30,28,5 ells,\n", 'tube_used: found "5 ells"'),
        (",hard 7,main,,,,28,30,,\n", "measured 30 degrees, above the 28 set"),
        (',hard 7,main,,,,30,28,,"a note\n', "cannot be split into cells"),
        (",hard 7,main,,,,30,28,,one, two\n", "found 11 cells for 10 columns"),
        (",hard 7,main\n", 'set_angle is ""'),
        (HEADER.upper(), 'set_angle is "SET_ANGLE"'),
    ],
)
def test_a_broken_line_is_named_and_the_others_go_on(tmp_path, line, says):
    read = read_bend_log(log(tmp_path, HEADER + GOOD + line + GOOD), "in")
    assert [bend.line for bend in read.bends] == [2, 4]
    (finding,) = read.findings
    assert finding.level == "warn"
    assert "line 3: " in finding.says
    assert says in finding.says


def test_binary_rubbish_names_lines_and_nothing_breaks(tmp_path):
    read = read_bend_log(log(tmp_path, HEADER.encode() + b"\x00\xff\xfe,\x93,,,,,,\n" + GOOD.encode()), "in")
    assert [bend.line for bend in read.bends] == [3]
    assert "line 2" in read.findings[0].says


@given(st.binary(max_size=200))
def test_any_bytes_after_the_header_never_raise(tmp_path_factory, junk):
    path = log(tmp_path_factory.mktemp("log"), HEADER.encode() + GOOD.encode() + junk)
    assert read_bend_log(path, "in").bends[:1]


@pytest.mark.parametrize(
    "text",
    ["\ufeff" + HEADER + GOOD, (HEADER + GOOD).replace("\n", "\r\n"), "\n\n" + HEADER + "\n" + GOOD + "\n,,,,,\n",
     HEADER.upper().replace("_", " ") + GOOD, HEADER.replace("\n", ",\n") + GOOD, HEADER + HEADER + GOOD],
)  # fmt: skip
def test_what_spreadsheets_do_to_a_file_is_taken(tmp_path, text):
    read = read_bend_log(log(tmp_path, text), "in")
    assert len(read.bends) == 1
    assert read.findings == ()


def test_an_old_spreadsheet_code_page_is_taken(tmp_path):
    read = read_bend_log(log(tmp_path, (HEADER + GOOD[:-1] + "½ way\n").encode("cp1252")), "in")
    assert read.bends[0].note == "½ way"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("date,die,tube,set_angle\n", "no column measured_angle"),
        (HEADER.replace(",", ";"), "save it with commas"),
        (HEADER.replace("grade", "die"), "column die stands twice"),
    ],
)
def test_a_header_that_cannot_be_used_is_an_input_error(tmp_path, text, says):
    with pytest.raises(InputError, match=says):
        read_bend_log(log(tmp_path, text), "in")


def test_a_folder_instead_of_a_file_is_an_input_error(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_bend_log(tmp_path, "in")


@pytest.mark.parametrize("text", [None, "", "\n \n"])
def test_no_record_yet_is_a_note(tmp_path, text):
    path = tmp_path / "test_bends.csv" if text is None else log(tmp_path, text)
    read = read_bend_log(path, "in")
    assert read.bends == ()
    assert [finding.level for finding in read.findings] == ["note"]


def test_a_column_not_known_is_a_note(tmp_path):
    read = read_bend_log(log(tmp_path, "die,tube,set_angle,measured_angle,weather\nd,t,30,28,rain\n"), "mm")
    assert len(read.bends) == 1
    assert '"weather" is not used' in read.findings[0].says


def test_raw_measurements_come_all_together(tmp_path):
    head = HEADER[:-1] + ",blank_length,leg_a,leg_b,measured_to\n"
    text = (
        head
        + GOOD[:-1]
        + ",500 mm,250 mm,260 mm,Apex\n"
        + GOOD[:-1]
        + ",500,250,,apex\n"
        + GOOD[:-1]
        + ",1,1,1,middle\n"
    )
    read = read_bend_log(log(tmp_path, text), "in")
    assert (read.bends[0].blank_length, read.bends[0].measured_to) == (500, "apex")
    assert "all four" in read.findings[0].says
    assert 'measured_to is "middle"' in read.findings[1].says


def test_a_new_record_gets_its_header_and_reads_back_with_the_csv_module(tmp_path):
    path = tmp_path / "test_bends.csv"
    append_bend(path, BEND, "in")
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == list(COLUMNS)
    assert (rows[0]["die"], rows[0]["set_angle"], rows[0]["measured_angle"]) == ("hard 7", "30", "28.25")


@given(
    st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), max_size=40),
    st.floats(0.1, 180),
    st.floats(1, 9e4),
    st.sampled_from(["in", "mm"]),
)
def test_what_is_added_reads_back(tmp_path_factory, note, angle, length, unit):
    path = tmp_path_factory.mktemp("log") / "test_bends.csv"
    bend = LoggedBend(
        die="=cmd|die", tube="@tube, wide", set_angle=radians(angle), measured_angle=radians(angle / 2), note=note,
        tube_used=length, blank_length=length, leg_a=length, leg_b=length, measured_to="outside",
    )  # fmt: skip
    if note != note.strip() or note.startswith("'") or not note.isprintable():
        with pytest.raises(InputError, match="note is"):
            append_bend(path, bend, unit)
        return
    append_bend(path, bend, unit)
    for cell in next(csv.reader(path.read_text("utf-8").splitlines()[1:])):
        assert not cell.startswith(("=", "+", "-", "@"))
    (read,) = read_bend_log(path, unit).bends
    assert (read.die, read.tube, read.note, read.measured_to) == (bend.die, bend.tube, note, "outside")
    assert read.set_angle == pytest.approx(bend.set_angle, rel=1e-11)
    assert read.tube_used == pytest.approx(length, rel=1e-11)


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("complete", [True, False])
def test_adding_keeps_every_byte_that_was_there(tmp_path, ending, complete):
    text = (HEADER + GOOD + "a broken line" + ("\n" if complete else "")).replace("\n", ending)
    path = log(tmp_path, text)
    append_bend(path, BEND, "in")
    after = path.read_bytes()
    assert after.startswith(text.encode())
    assert after.endswith(ending.encode())
    assert [bend.line for bend in read_bend_log(path, "in").bends] == [2, 4]


def test_adding_follows_the_order_of_the_records_own_columns(tmp_path):
    path = log(tmp_path, "tube,die,measured_angle,set_angle\n")
    append_bend(path, BEND, "in")
    assert path.read_text() == "tube,die,measured_angle,set_angle\nmain,hard 7,28.25,30\n"


def test_a_value_the_record_has_no_column_for_is_refused_and_the_file_stays(tmp_path):
    path = log(tmp_path, "tube,die,measured_angle,set_angle\n")
    with pytest.raises(InputError, match="no column heat"):
        append_bend(path, LoggedBend(die="d", tube="t", set_angle=1, measured_angle=0.9, heat="H1"), "in")
    assert path.read_text() == "tube,die,measured_angle,set_angle\n"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"set_angle": radians(28)}, "above the 28 set"),
        ({"set_angle": float("nan")}, "set_angle is nan"),
        ({"measured_angle": 0.0}, "measured_angle is 0"),
        ({"measured_angle": radians(200), "set_angle": radians(300)}, "allowed: degrees above 0"),
        ({"wall": -1.0}, "wall is -1 mm"),
        ({"tube_used": float("inf")}, "tube_used is inf"),
        ({"note": "two\nlines"}, "note is"),
        ({"note": "x" * 501}, "up to 500 letters"),
        ({"heat": "'H1"}, "leave out blanks and apostrophes"),
        ({"die": ""}, "die is empty"),
        ({"leg_a": 3.0}, "all four"),
    ],
)
def test_a_bend_that_cannot_be_true_is_refused_and_no_file_is_made(tmp_path, change, says):
    values = {name: getattr(BEND, name) for name in BEND.__slots__} | change
    with pytest.raises(InputError, match=says):
        append_bend(tmp_path / "test_bends.csv", LoggedBend(**values), "in")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_an_input_error(tmp_path):
    with pytest.raises(InputError, match="was not recorded"):
        append_bend(tmp_path / "gone" / "test_bends.csv", BEND, "in")


def _add(path: Path, count: int) -> None:
    for _ in range(count):
        append_bend(path, BEND, "in")


def test_two_at_a_time_lose_no_line(tmp_path):
    path = log(tmp_path, HEADER)
    workers = [multiprocessing.get_context("fork").Process(target=_add, args=(path, 25)) for _ in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    read = read_bend_log(path, "in")
    assert len(read.bends) == 75
    assert read.findings == ()
