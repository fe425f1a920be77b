"""What `satdiag ring` prints: the page of a check, a plan or a break as lines of text."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from satdiag.findings import RingBlock
from satdiag.language import tell
from satdiag.report.text_table import columns, table_lines
from satdiag.report.wiring.ring_figure import Touched, column_heads
from satdiag.report.wiring.ring_page import RingPage, plan_page, touched_after, touched_before
from satdiag.wiring.ring import RingPlan, blocks_shown, step_text, steps_of, undo_of


def blocks_lines(blocks: Sequence[RingBlock], touched: Collection[Touched] = ()) -> list[str]:
    """The blocks as lines of text, light from left to right; a plug that moves has a '*'."""
    lines = []
    for block in blocks:
        left, right = ("upper", "lower") if block.outputs_row == "upper" else ("lower", "upper")
        outputs, inputs = column_heads(block)
        rows = [("", outputs, "", inputs)]
        for one in block.positions:
            ends = {"upper": one.upper, "lower": one.lower}
            texts = [
                (ends[row] or tell("free")) + (" *" if (block.name, one.position, row) in touched else "")
                for row in (left, right)
            ]
            arrow = "  " if not one.light else "<-" if (ends[left] or "").endswith(".in") else "->"
            broken = f"  ? {tell('a break may be here')}" if one.suspect else ""
            rows.append((str(one.position), texts[0], arrow, texts[1] + broken))
        lines += [tell("block {name}", name=block.name), *columns(rows)]
    return lines


def page_lines(page: RingPage) -> list[str]:
    """A page's words and tables, without its drawings."""
    lines = [f"{page.title}. {page.answer}".strip(), *page.said]
    if page.before_hands:
        lines += ["", tell("Before you touch a plug"), *(f"  {text}" for text in page.before_hands)]
    for whole in page.tables:
        lines += ["", *table_lines(whole)]
    return lines


def plan_lines(plan: RingPlan, said: Sequence[str] = ()) -> list[str]:
    """The whole plan as text: what to do before, labels, steps, both drawings, what to do after, the way back."""
    page = plan_page(plan, said)
    if plan.after is None or not plan.moves:
        return [*page_lines(page), "", *blocks_lines(blocks_shown(plan.before))]
    steps = steps_of(plan.moves)
    return [
        f"{page.title}. {page.answer}",
        *page.said,
        *("", tell("Before you touch a plug"), *(f"  {text}" for text in page.before_hands)),
        *("", *table_lines(page.tables[0])),
        *("", page.tables[1].caption),
        *(f"  {step.name:>3}  {step_text(step)}" for step in steps),
        *("", tell("Before"), *blocks_lines(blocks_shown(plan.before), touched_before(plan))),
        *("", tell("After"), *blocks_lines(blocks_shown(plan.after), touched_after(plan))),
        *("", tell("Afterwards"), *(f"  {text}" for text in page.afterwards)),
        *(
            "",
            tell("The way back, should it not work"),
            *(f"  {one.name:>3}  {step_text(one)}" for one in undo_of(steps)),
        ),
    ]
