"""The drawing of a ring's blocks: a line for each position, light from left to right, a mark for each ring."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import NamedTuple

from satdiag.findings import RingBlock, RingPosition
from satdiag.language import mark, parted, tell, translated
from satdiag.report.figure import Figure, Spec, Table, axis, label, layout, table
from satdiag.report.palette import BLUE, FAINT, GREEN, GRID, INK, ORANGE, PURPLE, VERMILLION

Touched = tuple[str, int, str]
"""A socket: block, position, row."""

ROW_PX = 27
LABEL_CHARACTERS = 17
_FREE_RUN = 4
"""So many free positions in a row are drawn as one line."""

# Where things stand across the drawing, as shares of its width.
_NUMBER, _LEFT, _ARROW, _TIP, _RIGHT = 0.0, 0.085, 0.495, 0.555, 0.605


class _Look(NamedTuple):
    marked: str
    colour: str
    symbol: str

    @property
    def name(self) -> str:
        return translated(self.marked)


_RINGS = (
    _Look(mark("ring 1"), BLUE, "circle"),
    _Look(mark("ring 2"), ORANGE, "square"),
    _Look(mark("ring 3"), GREEN, "diamond"),
    _Look(mark("further ring"), PURPLE, "pentagon"),
)
_CHAIN = _Look(mark("open chain"), VERMILLION, "triangle-up")
_DARK = _Look(mark("no light passes"), FAINT, "x-thin")
_FREE = _Look(mark("free socket"), FAINT, "circle-open")


def ring_figure(name: str, caption: str, blocks: Sequence[RingBlock], touched: Collection[Touched] = ()) -> Figure:
    """The blocks with their plugs. `touched` are sockets whose plug moves; the table behind holds everything."""
    if any(_is_mistaken(block, one) for block in blocks for one in block.positions):
        wrong_row = tell("An end with '!' stands in the wrong row.")
        caption = f"{caption} {wrong_row}"
    drawing = _Drawing(touched)
    for block in blocks:
        drawing.block(block)
    return Figure(name, caption, f"{caption} {_in_words(blocks)}", drawing.spec(), (blocks_table(blocks, touched),))


def blocks_table(blocks: Sequence[RingBlock], touched: Collection[Touched] = ()) -> Table:
    """Every position with what it holds and whose light passes it."""
    rows: list[tuple[str, ...]] = []
    for block in blocks:
        for one in block.positions:
            moves = [row for row in ("upper", "lower") if (block.name, one.position, row) in touched]
            notes = [tell("upper plug moves") if row == "upper" else tell("lower plug moves") for row in moves]
            notes += [tell("a break may be here")] if one.suspect else []
            ends = (one.upper or tell("free"), one.lower or tell("free"))
            rows.append((block.name, str(one.position), *ends, _light_words(one), parted(notes)))
    heads = [tell("block"), tell("position"), tell("upper"), tell("lower"), tell("light"), tell("note")]
    if not any(row[-1] for row in rows):
        heads, rows = heads[:-1], [row[:-1] for row in rows]
    return table(tell("The plugs, position by position."), heads, rows, "position")


def _light_words(one: RingPosition) -> str:
    """Whose light passes a position; 'ring 1' and 'chain 2' are what the findings call a part."""
    if one.light is None:
        return _look(one).name
    part, _, number = one.light.rpartition(" ")
    return tell("open chain {number}", number=number) if part == "chain" else tell("ring {number}", number=number)


def _in_words(blocks: Sequence[RingBlock]) -> str:
    said = []
    for block in blocks:
        used = [one for one in block.positions if one.upper or one.lower]
        said.append(
            tell(
                "Block {block}: {used} of {all} positions used.",
                block=block.name,
                used=len(used),
                all=len(block.positions),
            )
        )
    return " ".join(said)


def _is_mistaken(block: RingBlock, one: RingPosition) -> bool:
    """True if a position has an input in the row of the outputs, or the other way round."""
    out, into = (one.upper, one.lower) if block.outputs_row == "upper" else (one.lower, one.upper)
    return (out or "").endswith(".in") or (into or "").endswith(".out")


def _look(one: RingPosition) -> _Look:
    if one.light is not None:
        if one.light.startswith("chain"):
            return _CHAIN
        number = int(one.light.rpartition(" ")[2])
        return _RINGS[min(number, len(_RINGS)) - 1]
    return _DARK if one.upper or one.lower else _FREE


def column_heads(block: RingBlock) -> tuple[str, str]:
    """What stands over the two columns of a block, the outputs first."""
    if block.outputs_row == "upper":
        return tell("upper: outputs"), tell("lower: inputs")
    return tell("lower: outputs"), tell("upper: inputs")


class _Drawing:
    """Gathers marks, arrows and words, line by line from the top."""

    def __init__(self, touched: Collection[Touched]) -> None:
        self._touched = touched
        self._line = 0
        self._sockets: dict[_Look, list[tuple[float, int, str]]] = {}
        self._arrows: dict[_Look, list[tuple[int, bool]]] = {}
        self._moving: list[tuple[float, int]] = []
        self._suspects: list[int] = []
        self._words: list[tuple[float, int, str]] = []

    def block(self, block: RingBlock) -> None:
        """A head, the two column heads, and a line for each position."""
        name = tell("block {name}", name=label(block.name, 30))
        left, right = column_heads(block)
        self._words.append((_NUMBER, self._line, f"<b>{name}</b>"))
        self._words.append((_LEFT, self._line + 1, left))
        self._words.append((_RIGHT, self._line + 1, right))
        self._line += 2
        for run in _runs(block.positions):
            self._position(block, run)
            self._line += 1
        self._line += 1

    def _position(self, block: RingBlock, run: Sequence[RingPosition]) -> None:
        one = run[0]
        if len(run) > 1:
            free = tell("{first} to {last}: free", first=one.position, last=run[-1].position)
            self._words.append((_NUMBER, self._line, free))
            return
        self._words.append((_NUMBER, self._line, str(one.position)))
        look = _look(one)
        for row, x in ((block.outputs_row, _LEFT), ("lower" if block.outputs_row == "upper" else "upper", _RIGHT)):
            end = one.upper if row == "upper" else one.lower
            moves = (block.name, one.position, row) in self._touched
            text = tell("free") if end is None else _end_words(end, "out" if x == _LEFT else "in", moves)
            self._sockets.setdefault(look if end else _FREE, []).append((x, self._line, text))
            if moves:
                self._moving.append((x, self._line))
        if one.light is not None:
            left = one.upper if block.outputs_row == "upper" else one.lower
            self._arrows.setdefault(look, []).append((self._line, (left or "").endswith(".in")))
        if one.suspect:
            self._suspects.append(self._line)

    def spec(self) -> Spec:
        """The finished figure."""
        traces = [
            self._guide_trace(),
            *self._socket_traces(),
            *self._arrow_traces(),
            *self._mark_traces(),
            self._word_trace(),
        ]
        lines = self._line - 1
        height = lines * ROW_PX + 92
        legend = {"orientation": "h", "x": 0, "xanchor": "left", "yref": "container", "y": 0.0, "yanchor": "bottom"}
        return {
            "data": traces,
            "layout": layout(
                height,
                margin={"l": 6, "r": 6, "t": 6, "b": 80},
                xaxis=axis(visible=False, range=[-0.02, 1.0]),
                yaxis=axis(visible=False, range=[lines - 0.4, -0.6]),
                legend={**legend, "tracegroupgap": 0},
            ),
        }

    def _guide_trace(self) -> Spec:
        """A faint line along each position: on a wide page it leads the eye from socket to socket."""
        lines = sorted({y for points in self._sockets.values() for _, y, _ in points})
        points = [(x, y) for y in lines for x in (_LEFT, _RIGHT, None)]
        line = {"color": GRID, "width": 1}
        return {**_trace(tell("position"), points), "mode": "lines", "line": line, "showlegend": False}

    def _socket_traces(self) -> Iterator[Spec]:
        order = [*_RINGS, _CHAIN, _DARK, _FREE]
        for look in sorted(self._sockets, key=order.index):
            marker = {"symbol": look.symbol, "size": 13, "color": look.colour, "line": {"color": INK, "width": 1.2}}
            if look in (_DARK, _FREE):
                marker["line"] = {"color": look.colour, "width": 2}
            yield {
                **_trace(look.name, [(x, y) for x, y, _ in self._sockets[look]]),
                "mode": "markers+text",
                "text": [f"  {text}" for _, _, text in self._sockets[look]],
                "textposition": "middle right",
                "textfont": {"size": 12, "color": FAINT if look is _FREE else INK},
                "marker": marker,
            }

    def _arrow_traces(self) -> Iterator[Spec]:
        for look, lines in self._arrows.items():
            x: list[float | None] = []
            y: list[float | None] = []
            for line, backwards in lines:
                x += [_TIP, _ARROW, None] if backwards else [_ARROW, _TIP, None]
                y += [line, line, None]
            heads = [f"triangle-{'left' if backwards else 'right'}" for _, backwards in lines for _ in range(3)]
            marker = {"symbol": heads, "size": [0, 11, 0] * len(lines), "color": look.colour, "opacity": 1}
            yield {
                **_trace(tell("light, {part}", part=look.name), []),
                "x": x,
                "y": y,
                "mode": "lines+markers",
                "line": {"color": look.colour, "width": 2.5},
                "marker": marker,
                "showlegend": False,
            }

    def _mark_traces(self) -> Iterator[Spec]:
        if self._moving:
            marker = {"symbol": "circle-open", "size": 22, "color": INK, "line": {"color": INK, "width": 2}}
            yield {**_trace(tell("plug that moves"), self._moving), "mode": "markers", "marker": marker}
        if self._suspects:
            marker = {"symbol": "x", "size": 15, "color": VERMILLION, "line": {"color": INK, "width": 1.4}}
            places = [(_ARROW - 0.02, line) for line in self._suspects]
            yield {**_trace(tell("a break may be here"), places), "mode": "markers", "marker": marker}

    def _word_trace(self) -> Spec:
        return {
            **_trace("words", [(x, y) for x, y, _ in self._words]),
            "mode": "text",
            "text": [text for _, _, text in self._words],
            "textposition": "middle right",
            "textfont": {"size": 13, "color": INK},
            "showlegend": False,
        }


def _trace(name: str, points: Sequence[tuple[float | None, int]]) -> Spec:
    return {
        "type": "scatter",
        "name": name,
        "x": [x for x, _ in points],
        "y": [y for _, y in points],
        "hoverinfo": "skip",
        "cliponaxis": False,
    }


def _end_words(end: str, side: str, moves: bool) -> str:
    """The node of an end; an end in the wrong row is written out, one that moves stands bold."""
    owner, _, own = end.rpartition(".")
    text = label(owner if own == side else f"! {end}", LABEL_CHARACTERS)
    return f"<b>{text}</b>" if moves else text


def _runs(positions: Sequence[RingPosition]) -> Iterator[Sequence[RingPosition]]:
    """Each position on its own, but long runs of free ones together."""
    free: list[RingPosition] = []

    def kept() -> Iterator[Sequence[RingPosition]]:
        if len(free) >= _FREE_RUN:
            yield tuple(free)
        else:
            yield from ((one,) for one in free)
        free.clear()

    for one in positions:
        if one.upper is None and one.lower is None:
            free.append(one)
            continue
        yield from kept()
        yield (one,)
    yield from kept()
