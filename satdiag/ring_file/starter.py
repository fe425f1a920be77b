"""A ring.toml to begin with."""

from __future__ import annotations

from collections.abc import Sequence

HEAD = """\
# The optical ring: how it is plugged today, and how it is wanted. The format: satdiag docs ring

[ring]
wanted = [{wanted}]  # downstream: the order in which light passes the nodes

[[block]]
name = "{block}"
positions = {positions}
outputs_row = "{row}"  # which row takes the nodes' outputs: look at the block, this is a guess
"""

PLUGS = """
# How it is plugged today: look at each position, mend what differs, and take the '#' away. These lines only show how
# the wanted order would look without the new units.
"""

OPTICS = """
# [optics]                      # figures of the parts in this vehicle; without them no margin is worked out
# transmitter_min_dbm = -10.0   # from memory: check against the parts' datasheets before you rely on it
# transmitter_max_dbm = -1.5    # from memory
# receiver_min_dbm = -23.0      # from memory
# receiver_max_dbm = -2.0       # from memory
# coupling_db = 2.5             # from memory: planning maximum of one coupling
"""

LINK = """
# [[link]]                      # one for each way from a node to the next, as far as you know it
# from = "{first}"
# to = "{second}"
# length_m = 3.0
# inline_connectors = 1         # all couplings on the way, the block's position included
# bend_radius_mm = 30.0
"""


def starter_text(
    nodes: Sequence[str], new: Sequence[str], positions: int, block: str = "main", outputs_row: str = "upper"
) -> str:
    """A ring.toml: one block, the nodes in downstream order, and plugs for all but the `new` ones, commented out.

    The first node is the timing master. Names are not checked: read the text with `parse_ring`.
    """
    plugged = [name for name in nodes if name not in new]
    inputs_row = "lower" if outputs_row == "upper" else "upper"
    wanted = ", ".join(f'"{name}"' for name in nodes)
    parts = [HEAD.format(wanted=wanted, block=block, positions=positions, row=outputs_row)]
    for number, name in enumerate(nodes):
        master = "timing_master = true\n" if number == 0 else ""
        parts.append(
            f'\n[[node]]\nname = "{name}"\n{master}role = ""\nsupply = ""  # such as the fuse that feeds it\n'
        )
    parts.append(PLUGS)
    for position, name in enumerate(plugged, 1):
        following = plugged[position % len(plugged)]
        ends = {outputs_row: f"{name}.out", inputs_row: f"{following}.in"}
        parts.append(
            f'\n# [[plug]]\n# position = {position}\n# upper = "{ends["upper"]}"\n# lower = "{ends["lower"]}"\n'
        )
    return "".join(parts) + LINK.format(first=nodes[0], second=nodes[1]) + OPTICS
