"""Records with something wrong in them: each fault is found, named in one sentence, and the shape still comes out."""

from copy import deepcopy
from typing import Any

import pytest
from written_records import THINGS, handed, hauler, piece, read_well

from railmodel.as_bent.piece import piece_of
from railmodel.as_bent.record import Record
from railmodel.errors import InputError


def test_a_good_record_has_nothing_odd() -> None:
    found = piece(hauler(), read_well(hauler()))
    assert [finding.says for finding in found.findings] == []
    assert found.sifted is not None
    assert found.sifted.dropped == ()


SLIPS: dict[str, tuple[str, int, Any, str]] = {
    "digits of a length swapped": ("legs", 2, 37.976, "has two digits swapped: 37.976 for 39.776"),
    "digits of an angle swapped": ("angles", 2, 25.05, "has two digits swapped: 25.05 for 20.55"),
    "leg between apexes": ("legs", 1, 18.68, "reads like the leg between apexes"),
    "protractor between the legs": ("angles", 3, 159.44, "reads like the angle between the legs"),
    "one inch on the tape": ("distances", 0, 159.003, "reads one inch too long: a tape held at its 1 in mark"),
    "one foot on the tape": ("distances", 0, 146.003, "reads one foot too short"),
    "inches as millimetres": ("legs", 2, 1010.31, "reads like a length in millimetres written down as inches"),
    "a decimal point": ("legs", 2, 397.76, "reads ten times too much"),
    "the wrong end": ("legs", 1, 14.549, "reads like the straight counted from the other end"),
    "another bend": ("angles", 0, 20.56, "reads like the bend counted from the other end"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_named(slip: str) -> None:
    section, index, value, words = SLIPS[slip]
    data = read_well(hauler())
    if slip == "digits of an angle swapped":
        data[section][index]["reads"] = 20.55
    if slip == "digits of a length swapped":
        data[section][index]["reads"] = 39.776
    data[section][index]["reads"] = value
    found = piece(hauler(), data)
    (finding,) = [one for one in found.findings if one.level == "warn"]
    assert words in finding.says
    assert finding.says.endswith("it is left out: measure it again")
    assert "\n" not in finding.says
    assert found.sifted is not None
    assert len(found.sifted.dropped) == 1
    assert all(abs(one.value - one.plan) < 5 * one.before for one in found.shape)


def test_the_wrong_side_of_the_tube_is_named() -> None:
    data = read_well(hauler())
    things = deepcopy(THINGS)
    things["distances"] = [{"from": "front end, top", "to": "end of bend 2, bottom", "reads": 1}]
    data["distances"][1]["reads"] = read_well(hauler(), things)["distances"][0]["reads"]
    (finding,) = piece(hauler(), data).findings
    assert "reads like the wrong side of the tube: front end, top to end of bend 2, bottom" in finding.says


def test_a_reading_that_no_slip_explains_is_left_out_all_the_same() -> None:
    data = read_well(hauler())
    data["distances"][0]["reads"] = 153.7
    (finding,) = piece(hauler(), data).findings
    assert "it does not go with the rest" in finding.says
    assert finding.says.startswith("distances: distance from front end to rear end is 153.700 in and everything else")


@pytest.mark.parametrize(("factor", "words"), [(25.4, "25.4 times what they should be"), (1 / 25.4, "too small")])
def test_units_out_by_25_4_stop_the_record(factor: float, words: str) -> None:
    data = read_well(hauler())
    for section in ("legs", "distances"):
        for entry in data[section]:
            entry["reads"] = round(entry["reads"] * factor, 4)
    found = piece(hauler(), data)
    (finding,) = found.findings
    assert finding.level == "stop"
    assert words in finding.says
    assert finding.says.endswith("correct units:")
    assert found.sifted is None


def test_a_record_of_the_other_hand_stops() -> None:
    frame = hauler(turned=True)
    data = read_well(frame, handed())
    assert [one.says for one in piece(frame, data).findings] == []
    found = piece(frame, data, hand="left")
    (finding,) = found.findings
    assert finding.level == "stop"
    assert "fits the other hand: it is the record of a mirrored rail" in finding.says


def test_a_flat_rail_has_no_hand() -> None:
    data = read_well(hauler())
    assert piece(hauler(), data, hand="left").findings == ()


def test_a_record_counted_from_the_other_end_stops() -> None:
    data = read_well(hauler()) | {"numbered_from": "rear"}
    data["distances"] = data["distances"][:1]
    (finding,) = piece(hauler(), data).findings
    assert finding.level == "stop"
    assert "counted from the other end; correct numbered_from:" in finding.says


def test_a_record_counted_from_the_rear_and_said_so_is_right() -> None:
    data = read_well(hauler())
    for entry in data["angles"]:
        entry["bend"] = 5 - entry["bend"]
    for entry in data["legs"]:
        entry["straight"] = 4 - entry["straight"]
    data["distances"] = data["distances"][:1]
    found = piece(hauler(), data | {"numbered_from": "rear"})
    assert found.findings == ()


def test_what_stands_twice_counts_once_and_what_contradicts_itself_is_named() -> None:
    data = read_well(hauler())
    data["angles"].append(dict(data["angles"][0]))
    data["legs"].append({"straight": 2, "reads": data["legs"][2]["reads"] + 0.75})
    record = Record.model_validate(data, context={"units": "in"})
    places = {(section, i): f"rail.yaml:{section} {i}" for section in ("angles", "legs") for i in range(6)}
    found = piece_of(hauler(), record, places, "rail.yaml")
    said = [one.says for one in found.findings]
    assert "angle of bend 1 stands twice, at rail.yaml:angles 0 and rail.yaml:angles 4, with one reading" in said[1]
    assert "straight 2 between tangents contradicts itself: " in said[0]
    assert any("rail.yaml:legs 4: straight 2 between tangents is 40." in says for says in said[2:])
    assert len(found.taken) == len(data["angles"]) + len(data["legs"]) + len(data["distances"]) - 1


def test_what_nothing_tells_of_is_named_with_what_to_measure() -> None:
    data = read_well(hauler())
    data |= {"angles": data["angles"][:1], "legs": data["legs"][:1], "distances": []}
    (finding,) = piece(hauler(), data).findings
    assert finding.level == "note"
    assert "next to nothing in the record tells of the angle of bend 2, the angle of bend 3" in finding.says
    assert "; measure the " in finding.says


REFUSED: dict[str, tuple[dict[str, Any], str]] = {
    "no such bend": ({"angles": [{"bend": 5, "reads": 15}]}, "angles: found bend 5; allowed: 1 to 4"),
    "no such straight": ({"legs": [{"straight": 5, "reads": 15}]}, "legs: found straight 5; allowed: 0 to 4"),
    "no such part": ({"part": "side rial"}, 'part: found "side rial"; allowed: side rail, rear cap'),
    "no hand": ({"hand": None}, "hand is missing; side rail is a pair"),
    "another job": ({"of_job": "Lake trailer"}, 'is of the job "Lake trailer", and this is "Hillside hauler"'),
    "a hand of a single part": ({"part": "rear cap"}, "found hand right, but rear cap is a single part"),
    "a bend not made": ({"bent": 1}, "angles: bend 2 lies behind bend 1, the last one made so far"),
    "more bends than there are": ({"bent": 9}, "bent: found 9; allowed: 0 to 4"),
    "one place twice": (
        {"distances": [{"from": "rear end", "to": "Rear end", "reads": 1}]}, "from and to: found rear end twice",
    ),
    "a weight of nothing": ({"weights": {"cab": 2}}, 'weights: found "cab"; allowed: front spring hanger'),
}  # fmt: skip


@pytest.mark.parametrize("fault", REFUSED)
def test_what_the_job_does_not_have_is_refused(fault: str) -> None:
    change, says = REFUSED[fault]
    with pytest.raises(InputError) as caught:
        piece(hauler(), read_well(hauler()) | change)
    assert says in "\n".join(caught.value.problems)
