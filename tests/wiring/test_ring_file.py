"""ring.toml: what it says as data, and one clear error for each way to write it wrongly."""

import tomllib

import pytest

from satdiag.errors import BadInput
from satdiag.job import build_job
from satdiag.ring_file import (
    Block,
    Bridge,
    Direct,
    End,
    LinkData,
    Node,
    Optics,
    Plug,
    Socket,
    parse_ring,
    starter_text,
)
from tests.wiring.rings import TOML

SHEET = b'[job]\nid = "demo-1"\n'


def test_everything_written_is_read():
    file = parse_ring(TOML)
    assert file.wanted == ("head-unit", "amplifier", "telephone", "receiver", "changer")
    assert file.blocks == (Block("main", 5, "upper"),)
    assert file.nodes[:2] == (Node("head-unit", True, "head unit, demo"), Node("amplifier", supply="fuse 12"))
    assert file.master == "head-unit"
    assert file.plugs[0] == Plug(End("head-unit", "out"), Socket("main", 1, "upper"))
    assert len(file.plugs) == 8
    assert file.links[1] == LinkData("amplifier", "telephone", 6.0, 2, 20.0)
    assert file.optics == Optics(-10.0, -1.5, -23.0, -2.0, 2.5)
    assert file.plugs_known


def test_several_blocks_bridges_and_direct_fibres():
    file = parse_ring(
        '[[block]]\nname="a"\npositions=2\noutputs_row="lower"\n[[block]]\nname="b"\npositions=2\noutputs_row="upper"\n'
        '[[bridge]]\nname="ab"\nfrom="a"\nto="b"\n[[node]]\nname="x.1"\nblock="a"\n[[node]]\nname="y"\n'
        '[[direct]]\nfrom="y"\nto="x.1"\n'
        '[[plug]]\nblock="a"\nposition=1\nlower="x.1.out"\nupper="ab.in"\n'
        '[[plug]]\nblock="b"\nposition=2\nupper="ab.out"\nlower="y.in"\n'
    )
    assert file.bridges == (Bridge("ab", "a", "b"),)
    assert file.directs == (Direct("y", "x.1"),)
    assert file.nodes[0] == Node("x.1", block="a")
    assert file.held[Socket("a", 1, "lower")] == End("x.1", "out")
    assert file.wanted is None
    assert file.optics == Optics()


def test_a_node_alone_is_enough():
    file = parse_ring('[[node]]\nname = "receiver"\n')
    assert file.node_names == ("receiver",)
    assert not file.plugs_known


def changed(old, new):
    assert TOML.count(old) >= 1
    return TOML.replace(old, new, 1)


WRONG = [
    ("[ring\nwanted = []", "not valid TOML", 1),
    (changed("[ring]", "[rings]"), "unknown table or key 'rings'", 1),
    (changed("[ring]", "[[ring]]"), "'ring' is not a table", 1),
    (changed("[[block]]", "[block]"), "'block' is no list of tables", 4),
    (changed("[[plug]]\nposition = 1", "[[plug]]\nposition = 1.5"), "1.5 is not a whole number", 24),
    (changed("position = 1\n", "position = 0\n"), "0 is outside 1 .. 64", 24),
    (changed("position = 1\n", "position = true\n"), "True is not a whole number", 24),
    (changed("position = 1\n", ""), "'position' is missing in [plug]", 23),
    (changed("position = 4", "position = 9"), "the block 'main' has 5 positions, not 9", 37),
    (changed("position = 4", "position = 3"), "position 3 of 'main' stands in line 32 already", 37),
    (changed('upper = "head-unit.out"\nlower = "amplifier.in"\n', ""), "holds neither upper nor lower", 23),
    (changed('"head-unit.out"', '"head-unit"'), "is not a fibre end such as", 25),
    (changed('"head-unit.out"', '"headunit.out"'), "'headunit' is no node or bridge of this file", 25),
    (changed('"head-unit.out"', "7"), "7 is not a fibre end", 25),
    (changed('block = "main"', 'block = "rear"'), "'rear' is no block of this file", 28),
    (changed('outputs_row = "upper"', 'outputs_row = "top"'), '\'top\' is not "upper" or "lower"', 7),
    (changed('outputs_row = "upper"\n', ""), "'outputs_row' is missing in [block]", 4),
    (changed("positions = 5", 'positions = "5"'), "'5' is not a whole number", 6),
    (changed("positions = 5", "positons = 5\npositions = 5"), "unknown key 'positons' in [block]", 6),
    (changed('name = "telephone"', 'name = "amplifier"'), "the name 'amplifier' stands for a node already", 17),
    (changed('name = "telephone"', 'name = "tele phone"'), "'tele phone' is not a name", 17),
    (changed('supply = "fuse 12"', "supply = 12"), "12 is not text in quotes", 15),
    (changed('supply = "fuse 12"', "timing_master = true"), "a second node, 'amplifier', is the timing master", 15),
    (changed("timing_master = true", 'timing_master = "yes"'), "'yes' is not true or false", 11),
    (
        changed('"telephone", "receiver"', '"telephone", "radio"'),
        "the wanted order names 'radio', which is no node",
        2,
    ),
    (changed('"telephone", "receiver"', '"telephone", "telephone"'), "names 'telephone' 2 times", 2),
    (
        changed('wanted = ["head-unit", "amplifier", "telephone", "receiver", "changer"]', 'wanted = ["head-unit"]'),
        "has fewer than two nodes",
        2,
    ),
    (
        changed('wanted = ["head-unit", "amplifier", "telephone", "receiver", "changer"]', 'wanted = "head-unit"'),
        "is not a list of node names",
        2,
    ),
    (changed('to = "amplifier"', 'to = "amp"'), "'amp' is no node of this file", 43),
    (changed('to = "amplifier"', ""), "'to' is missing in [link]", 41),
    (changed('from = "amplifier"\nto = "telephone"', 'from = "head-unit"\nto = "amplifier"'), "stands twice", 48),
    (changed("length_m = 3.0", "length_m = -3.0"), "-3.0 is outside 0 .. 1000", 44),
    (changed("length_m = 3.0", "length_m = nan"), "nan is not a number", 44),
    (changed("bend_radius_mm = 30", "bend_radius_cm = 3"), "unknown key 'bend_radius_cm' in [link]", 46),
    (changed("inline_connectors = 1", "inline_connectors = 1.0"), "1.0 is not a whole number", 45),
    (changed("transmitter_max_dbm = -1.5", "transmitter_max_dbm = -15"), "min_dbm -10 is above transmitter_max", 55),
    (changed("coupling_db = 2.5", "attenuation_least_db_per_m = 0.3"), "is above attenuation_db_per_m 0.25", 59),
    (changed("length_m = 3.0", "receiver_min_dbm = -1.0"), "receiver_min_dbm -1 is above receiver_max_dbm -2", 44),
    (changed("receiver_min_dbm = -23.0", 'receiver_min_dbm = "-23 dBm"'), "'-23 dBm' is not a number", 57),
    ("", "no node is named", 1),
    (TOML + '[[bridge]]\nname = "b"\nfrom = "main"\nto = "main"\n', "runs from block 'main' to itself", 63),
    (TOML + '[[bridge]]\nname = "changer"\nfrom = "x"\nto = "main"\n', "stands for a node already", 61),
    (TOML + '[[direct]]\nfrom = "changer"\nto = "nobody"\n', "'nobody' is no node of this file", 62),
    (TOML + '[[block]]\nname = "main"\npositions = 2\noutputs_row = "lower"\n', "block name 'main' stands twice", 61),
]


@pytest.mark.parametrize(("text", "what", "line"), WRONG, ids=[what for _, what, _ in WRONG])
def test_each_slip_is_one_clear_error(text, what, line):
    with pytest.raises(BadInput) as caught:
        parse_ring(text)
    about = [problem for problem in caught.value.problems if what in problem.what]
    assert len(about) == 1, str(caught.value)
    assert (about[0].file, about[0].line) == ("ring.toml", line)
    assert about[0].mend


def test_one_slip_alone_gives_one_error():
    alone = 0
    for text, _, _ in WRONG:
        with pytest.raises(BadInput) as caught:
            parse_ring(text)
        alone += len(caught.value.problems) == 1
    assert alone >= len(WRONG) - 4  # a node renamed or a bridge with two slips tells of both


def test_a_plug_of_several_blocks_names_its_own():
    text = TOML + '[[block]]\nname = "rear"\npositions = 2\noutputs_row = "lower"\n'
    with pytest.raises(BadInput, match="does not say in which block") as caught:
        parse_ring(text)
    assert len(caught.value.problems) == 3


def test_a_plug_without_any_block_is_told_what_to_write():
    with pytest.raises(BadInput, match="The file has no block: write \\[\\[block\\]\\]") as caught:
        parse_ring('[[node]]\nname = "a"\n[[plug]]\nposition = 1\nupper = "a.out"\n')
    assert "Blocks: ." not in str(caught.value)


def test_a_bridge_takes_light_at_its_in():
    text = TOML.replace('block = "main"\nposition = 2', 'block = "main"\nposition = 2', 1)
    text = text.replace("[[plug]]\nposition", '[[plug]]\nblock = "main"\nposition')
    text += '[[block]]\nname = "rear"\npositions = 2\noutputs_row = "lower"\n'
    text += '[[bridge]]\nname = "b"\nfrom = "main"\nto = "rear"\n'
    text += '[[plug]]\nblock = "rear"\nposition = 1\nlower = "b.in"\n'
    with pytest.raises(BadInput, match=r"'b.in' is plugged in 'rear', but the bridge runs from 'main' to 'rear'"):
        parse_ring(text)


def test_a_job_with_a_malformed_ring_fails_as_it_is_opened():
    broken = TOML.replace('"head-unit.out"', '"headunit.out"').encode()
    with pytest.raises(BadInput) as caught:
        build_job({"job.toml": SHEET, "ring.toml": broken}, [])
    assert str(caught.value).startswith("ring.toml, line 25, column 'upper': 'headunit' is no node")
    assert build_job({"job.toml": SHEET, "ring.toml": b"\xef\xbb\xbf" + TOML.replace("\n", "\r\n").encode()}, [])


def test_the_starter_is_sound_and_claims_nothing_of_today():
    text = starter_text(["head-unit", "amplifier", "receiver", "changer"], ["receiver"], 6, "rear", "lower")
    file = parse_ring(text)
    assert file.wanted == ("head-unit", "amplifier", "receiver", "changer")
    assert file.master == "head-unit"
    assert file.blocks == (Block("rear", 6, "lower"),)
    assert not file.plugs_known
    lines = [
        line.removeprefix("# ") if "[[plug]]" in line or line[2:].startswith(("pos", "upp", "low")) else line
        for line in text.splitlines()
    ]
    with_plugs = parse_ring("\n".join(lines))
    assert with_plugs.held[Socket("rear", 2, "lower")] == End("amplifier", "out")
    assert with_plugs.held[Socket("rear", 2, "upper")] == End("changer", "in")
    assert End("receiver", "out") not in with_plugs.sockets
    remembered = tomllib.loads(
        "\n".join(line.removeprefix("# ") for line in text.split("# [optics]")[1].splitlines()[1:])
    )
    assert remembered["receiver_min_dbm"] == -23.0
