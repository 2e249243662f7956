"""A record of measurements is read whole, refused with a sentence for every fault, and written for others to read."""

import csv
import io
from contextlib import suppress
from math import radians
from pathlib import Path

import pytest
from commands import DEMOS
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML

from railmodel.as_bent.record import Record
from railmodel.as_bent.record_file import read_record, record_csv, record_yaml
from railmodel.errors import InputError

EXAMPLE = DEMOS / "hillside_hauler" / "measured" / "right_rail.yaml"

FULL = """\
part: side rail
hand: right
numbered_from: front
units: in
bent: 3
heat: H3
tools: {tape: 1/32, protractor: 0.3}
legs:
  - {straight: 1, between: apexes, reads: [16 13/16, 16.8], sure_to: 1/16}
angles:
  - {bend: 1, reads: [15.10, 15]}
turns:
  - {bend: 2, reads: -179.5, sure_to: 0.5}
distances:
  - {from: front end, to: "apex 3, top", reads: 8 ft 8 1/8 in}
table:
  - {place: rear end, at: [158, 1 1/2]}
set:
  - {bend: 1, angle: 16.2}
weights: {cab mount: 2}
"""

SHEET = """\
what,at,to,reads,sure_to,x,y,z
part,,,side rail,,,,
hand,,,right,,,,
numbered_from,,,front,,,,
units,,,in,,,,
bent,,,3,,,,
heat,,,H3,,,,
tool,tape,,1/32,,,,
tool,protractor,,0.3,,,,
leg,straight 1,apexes,16 13/16,1/16,,,
angle,bend 1,,15.10,,,,
turn,bend 2,,-179.5°,0.5,,,
distance,front end,"apex 3, top",8 ft 8 1/8 in,,,,
table,rear end,,,,158,1 1/2,
set,bend 1,,16.2,,,,
weight,cab mount,,2,,,,
"""


def written(folder: Path, text: str, name: str = "rail.yaml") -> Path:
    path = folder / name
    path.write_text(text)
    return path


def test_every_key_is_read_in_its_unit(tmp_path: Path) -> None:
    record, places = read_record(written(tmp_path, FULL), "mm")
    assert record.tools.tape == pytest.approx(25.4 / 32)
    assert record.tools.protractor == pytest.approx(radians(0.3))
    (leg,) = record.legs
    assert [one.value for one in leg.reads] == pytest.approx([16.8125 * 25.4, 16.8 * 25.4])
    assert leg.sure_to == pytest.approx(25.4 / 16)
    assert [one.text for one in record.angles[0].reads] == ["15.10", "15"]
    assert record.turns[0].reads[0].value == pytest.approx(radians(-179.5))
    assert record.distances[0].reads[0].value == pytest.approx(104.125 * 25.4)
    assert record.table[0].at[2] is None
    assert places["legs", 0] == "rail.yaml:9:5"


def test_a_spreadsheet_says_the_same_as_the_yaml_file(tmp_path: Path) -> None:
    one, _ = read_record(written(tmp_path, FULL.replace("[16 13/16, 16.8]", "16 13/16").replace(", 15]", "]")), "mm")
    other, places = read_record(written(tmp_path, SHEET, "rail.csv"), "mm")
    assert one == other
    assert places["distances", 0] == "rail.csv line 13"


def test_what_is_written_is_read_by_another_reader_with_the_same_numbers(tmp_path: Path) -> None:
    """The YAML by a general YAML library's own loader, the spreadsheet by the standard library's reader."""
    record, _ = read_record(EXAMPLE, "in")
    plain = YAML(typ="safe").load(record_yaml(record))
    assert [one["reads"] for one in plain["angles"]] == [[15.0, 15.0], [14.7, 14.7], [19.5, 19.9], [19.5, 19.7]]
    assert plain["legs"][1] == {"straight": 1, "between": "tangents", "reads": "16 13/16"}
    rows = list(csv.DictReader(io.StringIO(record_csv(record))))
    assert [row["reads"] for row in rows if row["what"] == "angle"] == [
        "15.0", "15.0", "14.7", "14.7", "19.5", "19.9", "19.5", "19.7",
    ]  # fmt: skip
    assert {row["reads"] for row in rows if row["what"] == "hand"} == {"right"}


@pytest.mark.parametrize("text", [FULL, EXAMPLE.read_text()])
def test_what_is_written_is_read_back_the_same(tmp_path: Path, text: str) -> None:
    record, _ = read_record(written(tmp_path, text), "in")
    again, _ = read_record(written(tmp_path, record_yaml(record), "again.yaml"), "mm")
    assert close(again, record)


def close(one: Record, other: Record) -> bool:
    """Whether two records are the same to the ninth digit of what is written with its unit."""

    def plain(record: Record) -> object:
        return rounded(record.model_dump())

    def rounded(value: object) -> object:
        if isinstance(value, float):
            return float(f"{value:.8g}")
        if isinstance(value, dict):
            return {key: rounded(item) for key, item in value.items()}
        return [rounded(item) for item in value] if isinstance(value, list | tuple) else value

    return plain(one) == plain(other)


WRONG = {
    "angls:\n  - {bend: 1, reads: 15}": 'rail.yaml:1:1: unknown key "angls"; allowed: ',
    "angles:\n  - {bend: 1, reads: fifteen}": 'rail.yaml:2:22: angles[0] reads: found "fifteen"; allowed: a number',
    "angles:\n  - {bend: 0, reads: 15}": "angles[0] bend: found 0; allowed: a whole number from 1 on",
    "legs:\n  - {straight: 1, reads: 4 1/2 ells}": 'legs[0] reads: found "4 1/2 ells"; allowed: a length',
    "legs:\n  - {straight: 1, between: corners, reads: 4}": 'found "corners"; allowed: tangents, apexes',
    "legs:\n  - {straight: 1}": "legs[0]: reads is missing; it is required",
    "table:\n  - {place: front end, at: [1]}": "allowed: two or three lengths [x, y] or [x, y, z]",
    "part: side rail": "rail.yaml: holds no measurement; allowed: at least one of legs, angles",
    "- 1": "rail.yaml:1:1: found no keys with values",
    "set: planned\nangles:\n  - {bend: 1, reads: 15}": 'set: found "planned"; allowed: as planned, or a list',
}


@pytest.mark.parametrize("text", WRONG)
def test_a_fault_is_named_with_its_place(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError) as caught:
        read_record(written(tmp_path, text), "in")
    assert WRONG[text] in caught.value.problems[0]


def test_faults_of_a_spreadsheet_are_named_with_their_lines(tmp_path: Path) -> None:
    text = "what,at,to,reads\nangel,bend 1,,15\nangle,bend 1,,fifteen\nleg,straight one,,4\n"
    with pytest.raises(InputError) as caught:
        read_record(written(tmp_path, text, "rail.csv"), "in")
    said = "\n".join(caught.value.problems)
    assert 'rail.csv line 2: what: found "angel"; allowed: leg, angle' in said
    assert 'did you mean "angle"?' in said
    assert 'rail.csv line 3: reads: found "fifteen"; allowed: a number' in said
    assert 'rail.csv line 4: straight: found "straight one"; allowed: a whole number from 0 on' in said


@given(data=st.binary(max_size=300))
def test_no_bytes_fail_without_a_sentence(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    folder = tmp_path_factory.mktemp("bytes")
    for name in ("rail.yaml", "rail.csv"):
        path = folder / name
        path.write_bytes(data)
        with suppress(InputError):
            read_record(path, "in")
