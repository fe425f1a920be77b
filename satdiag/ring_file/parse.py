"""Reading ring.toml: everything that is wrong is named with its line; how the ring is plugged is not judged here."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from satdiag.csv_text import quoted, quoted_value
from satdiag.errors import BadInput, Problem, named
from satdiag.ring_file.checks import KEYS, OWN_WINDOWS, REQUIRED, RISING, SINGLE
from satdiag.ring_file.model import FILE, Block, Bridge, Direct, End, LinkData, Node, Optics, Plug, RingFile, Socket
from satdiag.sheet import line_of_key, load_toml

MOST_BRIDGES = 6
"""More would make the search for the least moves long."""


def parse_ring(text: str, file: str = FILE) -> RingFile:
    """ring.toml as a `RingFile`. Raises BadInput naming everything that is wrong, with its line."""
    data = load_toml(text, file)
    problems = _shape_problems(text, file, data)
    if not problems:
        problems = list(_Reading(text, file, data).problems())
    if problems:
        raise BadInput(problems)
    return _ring(data)


# --- each table on its own ---------------------------------------------------------------------------------------


def _shape_problems(text: str, file: str, data: dict[str, Any]) -> list[Problem]:
    problems = []
    for name, found in data.items():
        line = line_of_key(text, name) or 1
        if name not in KEYS:
            mend = f"Known tables: {', '.join(f'[{n}]' if n in SINGLE else f'[[{n}]]' for n in KEYS)}."
            problems.append(Problem(file, f"unknown table or key {quoted(name)}", mend, line))
        elif name in SINGLE and not isinstance(found, dict):
            problems.append(Problem(file, f"'{name}' is not a table", f"Write [{name}] on a line of its own.", line))
        elif name not in SINGLE and not (isinstance(found, list) and all(isinstance(one, dict) for one in found)):
            what, mend = f"'{name}' is no list of tables", f"Write [[{name}]], with two brackets, before each."
            problems.append(Problem(file, what, mend, line))
        else:
            for nth, table in enumerate([found] if name in SINGLE else found):
                problems += _table_problems(text, file, name, nth, table)
    return problems


def _table_problems(text: str, file: str, name: str, nth: int, table: dict[str, Any]) -> list[Problem]:
    problems = []
    for key, value in table.items():
        line = line_of_key(text, name, key, nth)
        check = KEYS[name].get(key)
        if check is None:
            mend = f"Known keys there: {', '.join(KEYS[name])}."
            problems.append(Problem(file, f"unknown key {quoted(key)} in [{name}]", mend, line, key))
        elif trouble := check(value):
            mend = "Mend it." if key in REQUIRED.get(name, ()) else "Mend it, or leave the key out if unknown."
            problems.append(Problem(file, f"{quoted_value(value)} {trouble}", mend, line, key))
    for key in REQUIRED.get(name, ()):
        if key not in table:
            head = line_of_key(text, name, None, nth)
            problems.append(Problem(file, f"'{key}' is missing in [{name}]", "Add it.", head, key))
    return problems


# --- the tables with each other ----------------------------------------------------------------------------------


class _Reading:
    """Checks what the tables say of each other; each table on its own is sound."""

    def __init__(self, text: str, file: str, data: dict[str, Any]) -> None:
        self._text, self._file, self._data = text, file, data
        self._blocks = {table["name"]: table for table in self._tables("block")}
        self._nodes = [table["name"] for table in self._tables("node")]
        self._bridges = {table["name"]: table for table in self._tables("bridge")}

    def problems(self) -> Iterator[Problem]:
        """All problems, in the order of the rules."""
        yield from self._names()
        yield from self._masters()
        yield from self._wanted()
        yield from self._references("node", "block", list(self._blocks), "block")
        yield from self._bridge_ends()
        yield from self._plugs()
        for name in ("direct", "link"):
            for key in ("from", "to"):
                yield from self._references(name, key, self._nodes, "node")
            yield from self._pairs(name)
        yield from self._optics()

    def _tables(self, name: str) -> list[dict[str, Any]]:
        return self._data.get(name, [])  # type: ignore[no-any-return]

    def _problem(self, what: str, mend: str, table: str, key: str | None = None, nth: int = 0) -> Problem:
        return Problem(self._file, what, mend, line_of_key(self._text, table, key, nth), key)

    def _names(self) -> Iterator[Problem]:
        if not self._nodes:
            what = "no node is named"
            yield Problem(self._file, what, "Write [[node]] with a name, once for each unit of the ring.", 1)
        taken: dict[str, str] = {}
        for name in ("node", "bridge"):
            for nth, table in enumerate(self._tables(name)):
                if table["name"] in taken:
                    what = f"the name '{table['name']}' stands for a {taken[table['name']]} already"
                    yield self._problem(what, "Give each node and bridge a name of its own.", name, "name", nth)
                taken[table["name"]] = name
        blocks = [table["name"] for table in self._tables("block")]
        for nth, block in enumerate(blocks):
            if block in blocks[:nth]:
                what = f"the block name '{block}' stands twice"
                yield self._problem(what, "Give each block a name of its own.", "block", "name", nth)
        if len(self._bridges) > MOST_BRIDGES:
            what = f"{len(self._bridges)} bridges are named, more than {MOST_BRIDGES}"
            yield self._problem(what, "Name only those that the ring uses.", "bridge", None, MOST_BRIDGES)

    def _masters(self) -> Iterator[Problem]:
        masters = [nth for nth, table in enumerate(self._tables("node")) if table.get("timing_master")]
        for nth in masters[1:]:
            what = f"a second node, '{self._nodes[nth]}', is the timing master"
            yield self._problem(what, "A ring has exactly one: leave it to that one.", "node", "timing_master", nth)

    def _wanted(self) -> Iterator[Problem]:
        wanted = self._data.get("ring", {}).get("wanted", [])
        for name in dict.fromkeys(wanted):
            if name not in self._nodes:
                what = f"the wanted order names '{name}', which is no node"
                yield self._problem(what, f"Nodes: {named(self._nodes)}.", "ring", "wanted")
            if wanted.count(name) > 1:
                what = f"the wanted order names '{name}' {wanted.count(name)} times"
                yield self._problem(what, "Light passes each node once: name each once.", "ring", "wanted")

    def _references(self, table: str, key: str, known: list[str], kind: str) -> Iterator[Problem]:
        for nth, one in enumerate(self._tables(table)):
            if key in one and one[key] not in known:
                mend = f"Known: {named(known)}. Mend the name, or add [[{kind}]] for it."
                yield self._problem(f"'{one[key]}' is no {kind} of this file", mend, table, key, nth)

    def _bridge_ends(self) -> Iterator[Problem]:
        for key in ("from", "to"):
            yield from self._references("bridge", key, list(self._blocks), "block")
        for nth, one in enumerate(self._tables("bridge")):
            if one["from"] == one["to"]:
                what = f"the bridge '{one['name']}' runs from block '{one['from']}' to itself"
                yield self._problem(what, "A bridge joins two blocks.", "bridge", "to", nth)

    def _plugs(self) -> Iterator[Problem]:
        first: dict[tuple[str, int], int] = {}
        for nth, table in enumerate(self._tables("plug")):
            block = table.get("block") or (next(iter(self._blocks)) if len(self._blocks) == 1 else None)
            if block is None:
                what = "the plug does not say in which block it is"
                yield self._problem(what, self._add_block(), "plug", None, nth)
                continue
            if block not in self._blocks:
                mend = f"Blocks: {named(self._blocks)}. Mend the name, or add [[block]] for it."
                yield self._problem(f"'{block}' is no block of this file", mend, "plug", "block", nth)
                continue
            yield from self._socket(table, block, nth, first)
            for row in ("upper", "lower"):
                if row in table:
                    yield from self._plugged_end(table[row], block, row, nth)

    def _add_block(self) -> str:
        if not self._blocks:
            return "The file has no block: write [[block]] with its name, positions and outputs_row first."
        return f"Add block. Blocks: {named(self._blocks)}."

    def _socket(
        self, table: dict[str, Any], block: str, nth: int, first: dict[tuple[str, int], int]
    ) -> Iterator[Problem]:
        position, count = table["position"], self._blocks[block]["positions"]
        if position > count:
            what = f"the block '{block}' has {count} positions, not {position}"
            yield self._problem(what, "Mend the position, or positions of the block.", "plug", "position", nth)
        if (block, position) in first:
            line = line_of_key(self._text, "plug", None, first[block, position])
            what = f"position {position} of '{block}' stands in line {line} already"
            yield self._problem(what, "Write upper and lower of one position together.", "plug", "position", nth)
        first.setdefault((block, position), nth)
        if "upper" not in table and "lower" not in table:
            what = f"position {position} of '{block}' holds neither upper nor lower"
            yield self._problem(what, "Name a fibre end, or leave the free position out.", "plug", None, nth)

    def _plugged_end(self, text: str, block: str, row: str, nth: int) -> Iterator[Problem]:
        end = _end(text)
        if end.owner in self._bridges:
            ends = self._bridges[end.owner]
            right = ends["from"] if end.side == "in" else ends["to"]
            if block != right:
                what = (
                    f"'{text}' is plugged in '{block}', but the bridge runs from '{ends['from']}' to '{ends['to']}'"
                )
                yield self._problem(what, "Light enters a bridge at its .in: mend one of the two.", "plug", row, nth)
        elif end.owner not in self._nodes:
            mend = f"Nodes: {named(self._nodes)}. Mend the name, or add [[node]] for it."
            yield self._problem(f"'{end.owner}' is no node or bridge of this file", mend, "plug", row, nth)

    def _pairs(self, name: str) -> Iterator[Problem]:
        pairs = [(table["from"], table["to"]) for table in self._tables(name)]
        for nth, pair in enumerate(pairs):
            if pair in pairs[:nth]:
                what = f"the way from '{pair[0]}' to '{pair[1]}' stands twice"
                yield self._problem(what, "Keep one of the two.", name, "from", nth)

    def _optics(self) -> Iterator[Problem]:
        """Windows that are upside down once [optics], its defaults and a link's own figures are put together."""
        given = self._data.get("optics", {})
        yield from self._upside_down(Optics(**given), given, "optics", 0)
        for nth, table in enumerate(self._tables("link")):
            own = {key: table[key] for key in OWN_WINDOWS if key in table}
            if own:
                yield from self._upside_down(Optics(**{**given, **own}), own, "link", nth)

    def _upside_down(self, whole: Optics, given: dict[str, Any], table: str, nth: int) -> Iterator[Problem]:
        for low, high in RISING:
            least, most = getattr(whole, low), getattr(whole, high)
            if (low in given or high in given) and least is not None and most is not None and least > most:
                key = low if low in given else high
                what = f"{low} {least:g} is above {high} {most:g}"
                yield self._problem(what, "Set both, or mend the one that is there.", table, key, nth)


# --- what was read -----------------------------------------------------------------------------------------------


def _end(text: str) -> End:
    owner, _, side = text.rpartition(".")
    return End(owner, "out" if side == "out" else "in")


def _ring(data: dict[str, Any]) -> RingFile:
    blocks = tuple(Block(**table) for table in data.get("block", []))
    only = blocks[0].name if len(blocks) == 1 else ""
    plugs = [
        Plug(_end(table[row]), Socket(table.get("block", only), table["position"], row))
        for table in data.get("plug", [])
        for row in ("upper", "lower")
        if row in table
    ]
    wanted = data.get("ring", {}).get("wanted")
    return RingFile(
        blocks=blocks,
        nodes=tuple(Node(**table) for table in data.get("node", [])),
        bridges=tuple(Bridge(table["name"], table["from"], table["to"]) for table in data.get("bridge", [])),
        plugs=tuple(plugs),
        directs=tuple(Direct(table["from"], table["to"]) for table in data.get("direct", [])),
        links=tuple(_link(table) for table in data.get("link", [])),
        wanted=tuple(wanted) if wanted is not None else None,
        optics=Optics(**{key: float(value) for key, value in data.get("optics", {}).items()}),
    )


def _link(table: dict[str, Any]) -> LinkData:
    rest: dict[str, Any] = {key: value for key, value in table.items() if key not in ("from", "to")}
    floats = {key: float(value) for key, value in rest.items() if key != "inline_connectors"}
    return LinkData(table["from"], table["to"], inline_connectors=rest.get("inline_connectors"), **floats)
