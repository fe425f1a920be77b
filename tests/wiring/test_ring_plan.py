"""The ring as a graph: valid or not and why, the least moves, the steps; judged by networkx and by all plans."""

import itertools
import math
from dataclasses import replace

import networkx as nx
import pytest

from satdiag.errors import SatdiagError
from satdiag.ring_file import Block, Bridge, Direct, End, Node, Plug, RingFile, Socket
from satdiag.wiring.ring import check_ring, labels_of, miscounted, order_with, plan_ring, same_ring, steps_of, undo_of
from satdiag.wiring.ring.steps import done, step_text
from tests.wiring import rings
from tests.wiring.rings import cells_of, ring_of_cells

# The worked example (invented; worked out apart from this program, with networkx 3.6.1 and by trying all positions):
# cells, wanted order, state, moves to H-A-P-T-C.
EXAMPLE = {
    "before": (rings.BEFORE, "HAPC", "valid", 3),
    "target": (rings.TARGET, "HAPTC", "valid", 0),
    "F1": (rings.F1, "HAPTC", "problems", 2),
    "F2": (rings.F2, "HAPTC", "problems", 1),
    "F3": (rings.F3, "HAPTC", "problems", 2),
    "F4": (rings.F4, "HAPTC", "order-differs", 3),
    "F5": (rings.F5, "HAPTC", "problems", 2),
}


def judged_by_networkx(file, nodes):
    """Valid as the graph sees it: each node one output and one input used, all of them in one cycle."""
    graph = nx.DiGraph()
    graph.add_nodes_from(nodes)
    outs = {(s.block, s.position): e.owner for s, e in file.held.items() if e.side == "out"}
    ins = {(s.block, s.position): e.owner for s, e in file.held.items() if e.side == "in"}
    graph.add_edges_from((outs[place], ins[place]) for place in outs if place in ins)
    degrees = all(graph.in_degree(name) == graph.out_degree(name) == 1 for name in nodes)
    return degrees and nx.number_weakly_connected_components(graph) == 1


@pytest.mark.parametrize("case", EXAMPLE)
def test_worked_example(case):
    cells, wanted, state, moves = EXAMPLE[case]
    file = ring_of_cells(cells, wanted)
    assert check_ring(file).state == state
    assert judged_by_networkx(file, wanted) == (state in ("valid", "order-differs"))
    assert len(plan_ring(ring_of_cells(cells)).moves) == moves


@pytest.mark.parametrize(
    ("case", "found"),
    [
        ("F1", {("H", "A", "P", "C"), ("T",)}),
        ("F3", {("H", "A", "T", "C"), ("P",)}),
        ("F5", {("H", "A", "P", "T"), ("C",)}),
        ("F4", {("H", "P", "A", "T", "C")}),
    ],
)
def test_rings_of_the_worked_example(case, found):
    check = check_ring(ring_of_cells(EXAMPLE[case][0]))
    assert set(check.paths.rings) == found
    assert check.paths.chains == ()
    kinds = {problem.kind for problem in check.problems}
    assert kinds == ({"order-differs"} if case == "F4" else {"looped", "several-rings"})


def test_an_open_output_is_a_chain_with_the_break_at_c():
    file = ring_of_cells(rings.F2)
    assert miscounted(file) == ("T.out x0",)
    check = check_ring(file)
    assert check.paths.rings == ()
    assert check.paths.chains == (("C", "H", "A", "P", "T"),)
    assert [problem.kind for problem in check.problems] == ["output-open", "faces-nothing", "open"]


def test_before_the_receiver_is_plugged_it_is_named():
    check = check_ring(ring_of_cells(rings.BEFORE))
    assert [problem.kind for problem in check.problems] == ["not-plugged"]
    assert check.problems[0].text == "the node T is wanted on the ring and not plugged yet"
    assert check.paths.rings == (("H", "A", "P", "C"),)


# --- what else can be wrong --------------------------------------------------------------------------------------


def kinds(file):
    return [problem.kind for problem in check_ring(file).problems]


def test_a_rotated_order_is_the_same_order():
    assert check_ring(ring_of_cells(rings.TARGET, "TCHAP")).state == "valid"
    assert same_ring("abc", "cab")
    assert not same_ring("abc", "acb")
    assert not same_ring("abc", "ab")


def test_a_mirror_image_is_another_order():
    assert check_ring(ring_of_cells({1: "HA", 2: "AP", 3: "PH"}, "HPA")).state == "order-differs"


def test_plugs_in_each_others_row():
    cells = ring_of_cells(rings.TARGET)
    swapped = [
        plug._replace(socket=plug.socket._replace(row="lower" if plug.socket.row == "upper" else "upper"))
        if plug.socket.position == 2
        else plug
        for plug in cells.plugs
    ]
    file = replace(cells, plugs=tuple(swapped))
    assert kinds(file) == ["row-mistaken", "row-mistaken"]
    assert check_ring(file).paths.rings == (tuple("HAPTC"),)
    plan = plan_ring(file)
    assert len(plan.moves) == 2
    assert check_ring(plan.after).state == "valid"


def test_two_outputs_face_each_other():
    file = ring_of_cells({1: "HA", 2: "AH", 3: "--"}, "HA")
    plugs = (
        *file.plugs[:1],
        Plug(End("A", "out"), Socket("main", 1, "lower")),
        Plug(End("A", "in"), Socket("main", 2, "lower")),
    )
    found = kinds(replace(file, plugs=plugs))
    assert "same-side" in found
    assert "row-mistaken" in found
    assert "input-open" in found


def test_a_plug_in_two_places_is_named_and_cannot_be_planned():
    file = ring_of_cells(rings.TARGET)
    twice = replace(
        file,
        plugs=(*file.plugs, Plug(End("H", "out"), Socket("main", 6, "upper"))),
        blocks=(Block("main", 6, "upper"),),
    )
    assert "output-twice" in kinds(twice)
    assert miscounted(twice) == ("H.out x2",)
    assert "written 2 times" in plan_ring(twice).impossible[0]


def test_a_node_that_is_not_wanted_is_taken_out():
    file = ring_of_cells(rings.TARGET, "HAPC", nodes="HAPTC")
    assert "not-wanted" in kinds(file)
    plan = plan_ring(file)
    assert cells_of(plan.after) in (
        {1: "HA", 2: "AP", 3: "PC", 4: "CH", 5: "--"},
        {1: "HA", 2: "AP", 3: "--", 4: "CH", 5: "PC"},
    )
    assert len(plan.moves) == 3
    assert {move.end for move in plan.moves if move.to is None} == {End("T", "out"), End("T", "in")}


def test_without_a_wanted_order_or_plugs_it_is_said():
    check = check_ring(ring_of_cells(rings.TARGET, None, nodes="HAPTC"))
    assert check.state == "valid"
    assert "order of the nodes was not judged" in check.could_not[0]
    none = check_ring(replace(ring_of_cells(rings.TARGET), plugs=()))
    assert none.state is None
    assert "not written" in none.could_not[0]
    with pytest.raises(SatdiagError, match="wanted order is not written"):
        plan_ring(ring_of_cells(rings.TARGET, None, nodes="HAPTC"))


# --- facts of rings, over all plans ------------------------------------------------------------------------------


def cycles_by_networkx(following):
    return list(nx.simple_cycles(nx.DiGraph(enumerate(following))))


@pytest.mark.parametrize("n", [3, 4, 5, 6])
def test_of_all_pairings_one_in_n_is_a_single_ring_and_a_swap_makes_two(n):
    """(n-1)! of n! (the number of cyclic permutations); two inputs exchanged in a single ring: always two rings."""
    nodes = "HAPTCX"[:n]
    single = 0
    for following in itertools.permutations(range(n)):
        file = ring_of_cells({place + 1: nodes[place] + nodes[to] for place, to in enumerate(following)}, nodes)
        found = check_ring(file).paths.rings
        if n < 6:
            expected = {frozenset(nodes[i] for i in cycle) for cycle in cycles_by_networkx(following)}
            assert {frozenset(ring) for ring in found} == expected
        if len(found) != 1:
            continue
        single += 1
        for one, other in itertools.combinations(range(n), 2):
            swapped = list(following)
            swapped[one], swapped[other] = swapped[other], swapped[one]
            if n < 6 or (one, other) == (0, 1):
                assert len(cycles_by_networkx(swapped)) == 2
    assert single == math.factorial(n - 1)


def test_distances_between_single_rings_of_five():
    """From any one of the 24 single rings: 1 at 0, 10 at 3, 5 at 4 and 8 at 5 moves (counted with itertools)."""
    nodes = "HAPTC"
    counts = dict.fromkeys(range(6), 0)
    for rest in itertools.permutations(nodes[1:]):
        order = (nodes[0], *rest)
        cells = {i + 1: order[i] + order[(i + 1) % 5] for i in range(5)}
        counts[len(plan_ring(ring_of_cells(cells)).moves)] += 1
    assert counts == {0: 1, 1: 0, 2: 0, 3: 10, 4: 5, 5: 8}


@pytest.mark.parametrize("n", [3, 4, 5])
def test_from_k_rings_the_nearest_single_ring_is_k_moves_away(n):
    nodes = "HAPTC"[:n]
    orders = [(nodes[0], *rest) for rest in itertools.permutations(nodes[1:])]
    for following in itertools.permutations(range(n)):
        file = ring_of_cells({place + 1: nodes[place] + nodes[to] for place, to in enumerate(following)}, nodes)
        count = len(cycles_by_networkx(following))
        least = min(len(plan_ring(file, order).moves) for order in orders)
        assert least == (0 if count == 1 else count)


# --- the least moves, against all plans --------------------------------------------------------------------------


def least_by_trying(cells, order, positions):
    """The least plugs moved over all ways to give each pair of the order a position."""
    upper = {cell[0]: place for place, cell in cells.items()}
    lower = {cell[1]: place for place, cell in cells.items()}
    pairs = [(name, order[(i + 1) % len(order)]) for i, name in enumerate(order)]
    return min(
        sum(upper.get(out) != p for (out, _), p in zip(pairs, places, strict=True))
        + sum(lower.get(into) != p for (_, into), p in zip(pairs, places, strict=True))
        for places in itertools.permutations(range(1, positions + 1), len(pairs))
    )


def fewest_from_all_states(nodes, positions):
    """Dijkstra (networkx) over all states of the block: a plug put in costs one move, pulling it out none.

    A plug that was plugged, is pulled and comes back in another socket is so counted once, as one that is new.
    """

    def placements():
        for used in itertools.product([*range(1, positions + 1), None], repeat=len(nodes)):
            held = [place for place in used if place is not None]
            if len(held) == len(set(held)):
                yield used

    states = [(up, low) for up in placements() for low in placements()]
    graph = nx.DiGraph()
    for state in states:
        for row in (0, 1):
            for i, place in enumerate(state[row]):
                if place is not None:
                    pulled = [list(part) for part in state]
                    pulled[row][i] = None
                    without = (tuple(pulled[0]), tuple(pulled[1]))
                    graph.add_edge(state, without, weight=0)
                    graph.add_edge(without, state, weight=1)
    n = len(nodes)
    goals = [
        (ups, tuple(ups[i - 1] for i in range(n)))  # the input of i faces the output of the one before
        for ups in itertools.permutations(range(1, positions + 1), n)
    ]
    return nx.multi_source_dijkstra_path_length(graph.reverse(copy=False), set(goals))


def check_against_all_states(n, positions, every=1):
    nodes = "HAPTCX"[:n]
    fewest = fewest_from_all_states(nodes, positions)
    for state, moves in itertools.islice(fewest.items(), 0, None, every):
        plugs = [
            Plug(End(name, side), Socket("main", place, row))
            for places, side, row in zip(state, ("out", "in"), ("upper", "lower"), strict=True)
            for name, place in zip(nodes, places, strict=True)
            if place is not None
        ]
        if not plugs:
            continue  # a file without plugs says nothing of today
        file = RingFile(
            (Block("main", positions, "upper"),), tuple(map(Node, nodes)), plugs=tuple(plugs), wanted=tuple(nodes)
        )
        plan = plan_ring(file)
        assert len(plan.moves) == moves, cells_of(file)
        assert judged_by_networkx(plan.after, nodes)
    return len(fewest)


def test_three_nodes_from_every_state_of_the_block():
    """All 34 x 34 ways to plug three outputs and three inputs into three positions, open ends included."""
    assert check_against_all_states(3, 3) == 34 * 34


@pytest.mark.long
@pytest.mark.parametrize(("n", "positions", "states"), [(3, 4, 73 * 73), (3, 5, 136 * 136), (4, 4, 209 * 209)])
def test_every_state_of_larger_blocks(n, positions, states):
    assert check_against_all_states(n, positions) == states


def check_all_pairings(n, spare, every=1):
    nodes = "HAPTCX"[:n]
    for lowers in itertools.islice(itertools.permutations(nodes), 0, None, every):
        cells = {place + 1: nodes[place] + lowers[place] for place in range(n)} | dict.fromkeys(
            range(n + 1, n + spare + 1), "--"
        )
        file = ring_of_cells(cells, nodes)
        plan = plan_ring(file)
        assert len(plan.moves) == least_by_trying(cells, nodes, n + spare)
        changed = sum(cell[1] != nodes[(nodes.index(cell[0]) + 1) % n] for cell in cells.values() if cell != "--")
        assert len(plan.moves) == changed  # the nodes whose successor changes
        assert check_ring(plan.after).state == "valid"
        assert judged_by_networkx(plan.after, nodes)


@pytest.mark.parametrize(("n", "spare"), [(3, 0), (4, 0), (5, 0), (3, 1), (4, 1)])
def test_all_pairings_with_every_plug_in(n, spare):
    check_all_pairings(n, spare)


@pytest.mark.long
@pytest.mark.parametrize(("n", "spare"), [(6, 0), (5, 1), (5, 2)])
def test_all_pairings_of_larger_rings(n, spare):
    check_all_pairings(n, spare)


def check_insertions(n):
    """The last node is new: from every good ring of the others, put in after every node."""
    nodes, new = "HAPTCX"[: n - 1], "HAPTCX"[n - 1]
    for rest in itertools.permutations(nodes[1:]):
        order = (nodes[0], *rest)
        cells = {i + 1: order[i] + order[(i + 1) % (n - 1)] for i in range(n - 1)} | {n: "--"}
        for after in order:
            file, wanted = order_with(ring_of_cells(cells, None, nodes=nodes), new, after)
            plan = plan_ring(file, wanted)
            assert len(plan.moves) == 3 == least_by_trying(cells, wanted, n)
            assert sum(move.from_ is not None for move in plan.moves) == 1  # one relocation, two new plugs
            assert judged_by_networkx(plan.after, wanted)


@pytest.mark.parametrize("n", [3, 4, 5])
def test_an_insertion_moves_one_plug_and_adds_two(n):
    check_insertions(n)


@pytest.mark.long
def test_an_insertion_into_five():
    check_insertions(6)


# --- steps -------------------------------------------------------------------------------------------------------


def check_steps(file):
    plan = plan_ring(file)
    steps = steps_of(plan.moves)
    assert done(plan.before, steps) == plan.after.held  # never into a used socket: that would raise
    assert done(plan.after, undo_of(steps)) == plan.before.held
    assert len({step.number for step in steps}) == len(plan.moves)
    assert len({step.number for step in undo_of(steps)}) == len(plan.moves)
    return steps


@pytest.mark.parametrize("n", [3, 4, 5])
def test_steps_of_every_pairing_can_be_done_and_undone(n):
    nodes = "HAPTC"[:n]
    for lowers in itertools.permutations(nodes):
        check_steps(ring_of_cells({place + 1: nodes[place] + lowers[place] for place in range(n)}, nodes))


def test_the_insertion_in_words():
    file, order = order_with(ring_of_cells(rings.BEFORE, None, nodes="HAPC"), "T", "P")
    assert order == tuple("HAPTC")
    steps = check_steps(file)
    assert [step_text(step) for step in steps] == [
        "Take the input of C out of position 3, lower row, of block main and plug it into position 5, lower row, of "
        "block main.",
        "Take the cap off the input of T and plug it into position 3, lower row, of block main.",
        "Take the cap off the output of T and plug it into position 5, upper row, of block main.",
    ]
    assert cells_of(plan_ring(file).after) == rings.TARGET
    assert labels_of(plan_ring(file))[0] == ("the input of C", "C.IN: now main 3 lower", "to main 5 lower")


def test_two_plugs_that_change_places_need_one_laid_aside():
    steps = check_steps(ring_of_cells(rings.F3))
    assert [step.name for step in steps] == ["1a", "2", "1b"]
    assert [step.action for step in steps] == ["lay-aside", "move", "plug-back"]
    assert [step.name for step in undo_of(steps)] == ["1a", "2", "1b"]


# --- insertion, blocks, bridges, direct fibres -------------------------------------------------------------------


def test_no_free_position_is_said_with_what_then():
    cells = {1: "HA", 2: "AP", 3: "PC", 4: "CH"}
    file, order = order_with(ring_of_cells(cells, "HAPC"), "T", "P")
    plan = plan_ring(file, order)
    assert plan.after is None
    assert "block main has 4 positions and the order needs 5: there is no free position" in plan.impossible[0]
    assert "inline coupler" in plan.impossible[0]


@pytest.mark.parametrize(
    ("insert", "after", "what"),
    [("T", "X", "'X' is not on the ring; on it are: H, A, P, C"), ("A", "P", "'A' is plugged already")],
)
def test_an_insertion_that_makes_no_sense(insert, after, what):
    with pytest.raises(SatdiagError, match=what):
        order_with(ring_of_cells(rings.BEFORE, "HAPC"), insert, after)


def test_an_insertion_without_a_ring_to_insert_into():
    with pytest.raises(SatdiagError, match="write wanted first"):
        order_with(ring_of_cells(rings.F2, None, nodes="HAPTC"), "X", "H")


def two_blocks(wanted, bridges=("ab", "ba")):
    """H and A at block a, P and C at block b, a bridge each way; the ring is H-A-P-C."""
    ends = {"ab": ("a", "b"), "ba": ("b", "a"), "ab2": ("a", "b"), "ba2": ("b", "a")}
    cells = [
        ("a", 1, "H", "A"),
        ("a", 2, "A", "ab"),
        ("b", 1, "ab", "P"),
        ("b", 2, "P", "C"),
        ("b", 3, "C", "ba"),
        ("a", 3, "ba", "H"),
    ]
    plugs = [
        plug
        for block, place, out, into in cells
        for plug in (
            Plug(End(out, "out"), Socket(block, place, "lower")),
            Plug(End(into, "in"), Socket(block, place, "upper")),
        )
    ]
    return RingFile(
        (Block("a", 4, "lower"), Block("b", 4, "lower")),
        tuple(Node(name, name == "H", block="b" if name == "T" else None) for name in "HAPCT"),
        tuple(Bridge(name, *ends[name]) for name in bridges),
        tuple(plugs),
        wanted=tuple(wanted),
    )


def test_a_ring_over_two_blocks():
    file = two_blocks("HAPC")
    check = check_ring(file)
    assert (check.state, check.problems) == ("valid", ())
    way = next(link for link in check.paths.links if link.from_node == "A")
    assert [str(place) for place in way.places] == ["position 2 of block a", "the bridge ab", "position 1 of block b"]
    plan = plan_ring(two_blocks("HAPTC"))
    assert len(plan.moves) == 3
    assert check_ring(plan.after).state == "valid"
    assert {move.to.block for move in plan.moves} == {"b"}


def least_over_blocks(file):
    """The least plugs moved over all choices of bridges and all positions, tried one by one (two blocks)."""
    order = file.wanted
    where = {plug.end: plug.socket for plug in file.plugs}
    kinds_of = {("a", "b"): [], ("b", "a"): []}
    for bridge in file.bridges:
        kinds_of[bridge.from_block, bridge.to_block].append(bridge.name)
    home = {"H": "a", "A": "a", "P": "b", "C": "b", "T": "b"}
    best = 99
    for there in itertools.permutations(kinds_of["a", "b"]):
        for back in itertools.permutations(kinds_of["b", "a"]):
            spare = {("a", "b"): list(there), ("b", "a"): list(back)}
            pairs = {"a": [], "b": []}
            for name, following in zip(order, (*order[1:], order[0]), strict=True):
                if home[name] == home[following]:
                    pairs[home[name]].append((name, following))
                else:
                    bridge = spare[home[name], home[following]].pop(0)
                    pairs[home[name]].append((name, bridge))
                    pairs[home[following]].append((bridge, following))
            moves = 0
            for block, found in pairs.items():
                moves += min(
                    sum(
                        where.get(End(out, "out")) != Socket(block, place, "lower")
                        for (out, _), place in zip(found, p, strict=True)
                    )
                    + sum(
                        where.get(End(into, "in")) != Socket(block, place, "upper")
                        for (_, into), place in zip(found, p, strict=True)
                    )
                    for p in itertools.permutations(range(1, 5), len(found))
                )
            left = {name for names in spare.values() for name in names}
            best = min(best, moves + sum(end.owner in left for end in where))
    return best


def test_bridged_plans_are_the_least_of_all_that_there_are():
    for rest in itertools.permutations("APC"):
        file = two_blocks(("H", *rest), ("ab", "ba", "ab2", "ba2"))
        plan = plan_ring(file)
        assert len(plan.moves) == least_over_blocks(file), rest
        assert check_ring(plan.after).state == "valid"
        check_steps(file)


def test_an_order_that_crosses_more_needs_more_bridges():
    assert (
        "crosses from block a to block b 2 times, and there are 1 bridges"
        in plan_ring(two_blocks("HPAC")).impossible[0]
    )
    more = two_blocks("HPAC", ("ab", "ba", "ab2", "ba2"))
    plan = plan_ring(more)
    assert check_ring(plan.after).state == "valid"
    assert len(plan.moves) == least_over_blocks(more)
    check_steps(more)


def test_a_bridge_that_the_order_does_not_use_is_taken_out():
    file = replace(two_blocks("HAPC"), wanted=("H", "A"))
    plan = plan_ring(file)
    out = {move.end.owner for move in plan.moves if move.to is None}
    assert out == {"ab", "ba", "P", "C"}
    assert check_ring(plan.after).state == "valid"


def test_the_block_of_a_new_node_must_be_known():
    file = two_blocks("HAPTC")
    unknown = replace(file, nodes=tuple(replace(node, block=None) for node in file.nodes))
    assert "which block T.in reaches is not known: set block of the node T" in plan_ring(unknown).impossible


def test_direct_fibres_count_as_links_and_are_not_moved():
    plugs = ring_of_cells({1: "HA", 2: "AP", 3: "--"}, "HAP").plugs
    file = replace(ring_of_cells({1: "HA", 2: "AP", 3: "--"}, "HAP"), directs=(Direct("P", "H"),), plugs=plugs)
    assert check_ring(file).state == "valid"
    assert plan_ring(file).moves == ()
    longer, order = order_with(file, "T", "A")
    assert len(plan_ring(longer, order).moves) == 3
    against, order = order_with(file, "T", "P")
    assert "the fibre from P straight to H stands against this order" in plan_ring(against, order).impossible[0]


def test_sixty_four_nodes():
    names = [f"n{i}" for i in range(64)]
    plugs = [
        plug
        for i in range(64)
        for plug in (
            Plug(End(names[i], "out"), Socket("main", i + 1, "upper")),
            Plug(End(names[(i * 3 + 1) % 64], "in"), Socket("main", i + 1, "lower")),
        )
    ]
    file = RingFile((Block("main", 64, "upper"),), tuple(map(Node, names)), plugs=tuple(plugs), wanted=tuple(names))
    check_steps(file)
    assert len(plan_ring(file).moves) == sum((i * 3 + 1) % 64 != (i + 1) % 64 for i in range(64))
