"""Work counted in lines of Python that are run: a measure that no slow and no busy computer moves.

What C code does in one call (a search, a sort, numpy) counts as one line, however long it takes.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable
from types import FrameType
from typing import Any


def steps(work: Callable[[], object]) -> int:
    """How many lines of Python a call runs on this thread, those of everything that it calls included.

    Garbage is collected before it and not meanwhile: what other tests have left would be ended in its lines.
    """
    count = 0

    def follow(frame: FrameType, event: str, _: Any) -> Any:
        nonlocal count
        count += event == "line"
        return follow

    before, collects = sys.gettrace(), gc.isenabled()
    gc.collect()
    gc.disable()
    sys.settrace(follow)
    try:
        work()
    finally:
        sys.settrace(before)
        if collects:
            gc.enable()
    return count
