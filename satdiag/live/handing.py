"""The addresses of the papers: what is made, and each paper as a page of its own that can do nothing here.

A report needs its inline script to draw its figures. So a paper is served with a policy of its own: it may run that
script, but in a sandbox, where it is of no origin, sends no cookie and may fetch nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from satdiag.language import tell
from satdiag.live.making import Busy, Maker
from satdiag.live.papers import NotAWish, wish_from

if TYPE_CHECKING:
    from starlette.requests import Request

PAGE_CSP = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:; font-src data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox allow-scripts"
)
PDF_CSP = (
    "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
"""Without a sandbox: in one some browsers show no PDF (from memory). What a PDF runs is no script of this origin."""

TYPES = {
    "html": ("text/html; charset=utf-8", PAGE_CSP),
    "pdf": ("application/pdf", PDF_CSP),
    "zip": ("application/zip", PAGE_CSP),
}


class Handing:
    """Answers over what is made. All of it is for those alone who may write; the guard sees to that."""

    def __init__(self, maker: Maker) -> None:
        self._maker = maker

    async def make(self, body: Mapping[str, Any]) -> Response:
        """Begin to make a paper; what came of it is told at `told`."""
        try:
            wish = await run_in_threadpool(wish_from, body)  # what it loads takes its time; taps do not wait for it
            self._maker.begin(wish)
        except NotAWish as error:
            return JSONResponse({"error": str(error)}, 400)
        except Busy as error:
            return JSONResponse({"error": str(error)}, 409)
        return JSONResponse(self._maker.told())

    async def told(self, request: Request) -> Response:
        """What is being made, what is there, what failed."""
        return JSONResponse(await run_in_threadpool(self._maker.told))

    async def paper(self, request: Request) -> Response:
        """A paper, to be shown or, with the query `save`, to be kept. Its name is compared, never looked up."""
        made = self._maker.find(request.path_params["id"], request.path_params["name"])
        if made is None:
            return JSONResponse({"error": tell("This paper is not kept any more. Make it again.")}, 404)
        kind, policy = TYPES[made.wish.form]
        how = "attachment" if "save" in request.query_params or made.wish.form == "zip" else "inline"
        headers = {
            "Content-Disposition": f'{how}; filename="{made.paper.name}"',
            "Content-Security-Policy": policy,
            "Cache-Control": "no-store",
        }
        return Response(made.paper.data, media_type=kind, headers=headers)
