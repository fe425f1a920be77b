"""Draws figures with kaleido, in a process of its own: `python -m satdiag.handover.drawing FOLDER`.

In FOLDER stands `order.json`: the figures in plotly's form, the format, the scale and the browser; there the drawings
are put as `N.png` or `N.svg`. A browser that hangs leaves threads behind that cannot be ended, so whoever asks ends
the whole process (see `figures`).
"""

from __future__ import annotations

import asyncio
import json
import logging
import sys
from pathlib import Path
from typing import Any

ORDER = "order.json"


def main(folder: Path) -> None:
    """Draw what is ordered in a folder. Raises whatever kaleido raises: the caller reads the last line of it."""
    logging.disable(logging.CRITICAL)
    order = json.loads((folder / ORDER).read_text("utf-8"))
    asyncio.run(_draw(order, folder))


async def _draw(order: dict[str, Any], folder: Path) -> None:
    import kaleido

    kind, size = order["format"], {"format": order["format"], "scale": order["scale"]}
    # mathjax would be fetched from the net; plotly.js is the installed one.
    async with kaleido.Kaleido(n=1, timeout=order["one_s"], mathjax=False, path=order["browser"]) as drawer:
        for number, spec in enumerate(order["specs"]):
            layout = spec["layout"]
            opts = {**size, "width": layout["width"], "height": layout["height"]}
            (folder / f"{number}.{kind}").write_bytes(await drawer.calc_fig(spec, opts))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
