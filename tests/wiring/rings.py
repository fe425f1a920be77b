"""Small rings for tests, written as cells 'HA': the output of H faces the input of A; '-' is an empty socket.

The worked example (invented): five positions, H the timing master, A, P, C, and T the new node; wanted H-A-P-T-C.
"""

from satdiag.ring_file import Block, End, Node, Plug, RingFile, Socket

WANTED = "HAPTC"
BEFORE = {1: "HA", 2: "AP", 3: "PC", 4: "CH", 5: "--"}
TARGET = {1: "HA", 2: "AP", 3: "PT", 4: "CH", 5: "TC"}
F1 = {1: "HA", 2: "AP", 3: "PC", 4: "CH", 5: "TT"}
F2 = {1: "HA", 2: "AP", 3: "PT", 4: "CH", 5: "-C"}
F3 = {1: "HA", 2: "AT", 3: "PP", 4: "CH", 5: "TC"}
F4 = {1: "HP", 2: "AT", 3: "PA", 4: "CH", 5: "TC"}
F5 = {1: "HA", 2: "AP", 3: "PT", 4: "CC", 5: "TH"}


def ring_of_cells(cells, wanted=WANTED, nodes=None, master="H"):
    """A file with one block 'main', outputs in the upper row."""
    plugs = []
    for position, (upper, lower) in cells.items():
        plugs += [Plug(End(upper, "out"), Socket("main", position, "upper"))] if upper != "-" else []
        plugs += [Plug(End(lower, "in"), Socket("main", position, "lower"))] if lower != "-" else []
    return RingFile(
        blocks=(Block("main", max(cells), "upper"),),
        nodes=tuple(Node(name, timing_master=name == master) for name in nodes or wanted),
        plugs=tuple(plugs),
        wanted=tuple(wanted) if wanted is not None else None,
    )


def cells_of(file):
    """The file's only block as cells again."""
    block = file.blocks[0]
    held = {socket: end.owner for socket, end in file.held.items()}
    return {
        place: held.get(block.socket(place, "out"), "-") + held.get(block.socket(place, "in"), "-")
        for place in range(1, block.positions + 1)
    }


TOML = """\
[ring]
wanted = ["head-unit", "amplifier", "telephone", "receiver", "changer"]

[[block]]
name = "main"
positions = 5
outputs_row = "upper"

[[node]]
name = "head-unit"
timing_master = true
role = "head unit, demo"
[[node]]
name = "amplifier"
supply = "fuse 12"
[[node]]
name = "telephone"
[[node]]
name = "receiver"
[[node]]
name = "changer"

[[plug]]
position = 1
upper = "head-unit.out"
lower = "amplifier.in"
[[plug]]
block = "main"
position = 2
upper = "amplifier.out"
lower = "telephone.in"
[[plug]]
position = 3
upper = "telephone.out"
lower = "changer.in"
[[plug]]
position = 4
upper = "changer.out"
lower = "head-unit.in"

[[link]]
from = "head-unit"
to = "amplifier"
length_m = 3.0
inline_connectors = 1
bend_radius_mm = 30
[[link]]
from = "amplifier"
to = "telephone"
length_m = 6
inline_connectors = 2
bend_radius_mm = 20

[optics]
transmitter_min_dbm = -10.0
transmitter_max_dbm = -1.5
receiver_min_dbm = -23.0
receiver_max_dbm = -2.0
coupling_db = 2.5
"""
"""The worked example before T (the receiver) is plugged, as a file."""
