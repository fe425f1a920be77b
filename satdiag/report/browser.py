"""Printing a page as a PDF through a browser of this computer: Chromium, Chrome or Edge, without a window.

    find_browser()                  where the browser is, or None
    print_pdf(html, place)          the page (text, or the path of a file) as a PDF at `place`
    pdf_or_page(html, place)        the same, or the page itself beside it where there is no browser

The browser runs with a folder of its own for everything it keeps, loads nothing but the page, and is stopped with all
its children after `TIME_LIMIT_S`. A person names another browser in the environment variable SATDIAG_BROWSER.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from satdiag.errors import SatdiagError
from satdiag.report.placing import PDF_BEGINS, check_pdf_place, check_place, replace_file
from satdiag.report.sheets import Paper, on_paper, paper_or_default

VARIABLE = "SATDIAG_BROWSER"
TIME_LIMIT_S = 60.0
NAMES = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "msedge",
)
# Where the makers' own installers put them; common practice, no source.
_MAC = (
    "Google Chrome.app/Contents/MacOS/Google Chrome",
    "Chromium.app/Contents/MacOS/Chromium",
    "Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
)
_WINDOWS = (
    r"Google\Chrome\Application\chrome.exe",
    r"Chromium\Application\chrome.exe",
    r"Microsoft\Edge\Application\msedge.exe",
)
_WINDOWS_ROOTS = ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")
_LINUX = (
    "/usr/bin/chromium",
    "/usr/bin/google-chrome",
    "/opt/google/chrome/chrome",
    "/opt/microsoft/msedge/msedge",
    "/snap/bin/chromium",
)
_OPTIONS = (
    "--headless",
    "--disable-gpu",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-default-browser-check",
    "--no-pdf-header-footer",
    "--export-tagged-pdf",
    "--generate-pdf-document-outline",
)


class NoBrowser(SatdiagError):
    """No browser that can print a PDF is installed, or the one named in SATDIAG_BROWSER is not there."""


def find_browser() -> Path | None:
    """The browser to print with: the one named in SATDIAG_BROWSER, one of the search path, or of the usual places.

    Raises NoBrowser if SATDIAG_BROWSER names something that cannot be run.
    """
    named = os.environ.get(VARIABLE, "").strip()
    if named:
        found = shutil.which(named)
        if found is None:
            raise NoBrowser(f"{VARIABLE} names {named}, which cannot be run. Name an installed browser, or unset it.")
        return Path(found)
    for name in NAMES:
        if found := shutil.which(name):
            return Path(found)
    return next((place for place in _usual_places() if place.is_file()), None)


def _usual_places() -> Iterator[Path]:
    if sys.platform == "darwin":
        for root in (Path("/Applications"), Path.home() / "Applications"):
            yield from (root / name for name in _MAC)
    elif os.name == "nt":
        roots = [Path(os.environ[name]) for name in _WINDOWS_ROOTS if os.environ.get(name)]
        yield from (root / name for name in _WINDOWS for root in roots)
    else:
        yield from (Path(name) for name in _LINUX)


def print_pdf(page: str | Path, place: str | os.PathLike[str], paper: Paper | None = None) -> None:
    """Print a page as a PDF, over an older PDF if there is one.

    `page` is the HTML itself, or the path of an HTML file; `paper` the size of its sheets, None the usual one here
    (`sheets.paper_or_default`). Raises NoBrowser, SatdiagError; nothing is changed then.
    """
    target, size = Path(place).resolve(), paper_or_default(paper)
    try:
        check_pdf_place(target)
        browser = find_browser()
        if browser is None:
            raise NoBrowser(
                "No Chromium, Chrome or Edge was found to make a PDF with. Install one, or name it in the "
                f"environment variable {VARIABLE}."
            )
        html = page.read_bytes() if isinstance(page, Path) else page.encode()
        replace_file(target, _printed(browser, on_paper(html, size)))
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{target}: the PDF cannot be made ({why}). Nothing was changed there; name another place."
        ) from None


def pdf_or_page(html: str, place: str | os.PathLike[str], paper: Paper | None = None) -> Path:
    """Print a page as a PDF (see `print_pdf`) and return where it is; without a browser the page itself: FILE.html.

    Raises SatdiagError, NoBrowser only if SATDIAG_BROWSER names none.
    """
    target = Path(place).resolve()
    check_pdf_place(target)
    if find_browser() is not None:
        print_pdf(html, target, paper)
        return target
    page = target.with_suffix(".html")
    check_place(page)
    try:
        replace_file(page, html.encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{page}: the page cannot be written ({why}). Nothing was changed there; name another place."
        ) from None
    return page


def _printed(browser: Path, html: bytes) -> bytes:
    """The bytes of the PDF. Raises SatdiagError, OSError."""
    root = _snap_folder(browser)
    with tempfile.TemporaryDirectory(prefix="satdiag-print-", dir=root, ignore_cleanup_errors=True) as name:
        folder = Path(name)
        page, made, said = folder / "page.html", folder / "page.pdf", folder / "said.txt"
        page.write_bytes(html)
        options = [*_OPTIONS, f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={made}"]
        if sys.platform.startswith("linux") and os.geteuid() == 0:
            options.append("--no-sandbox")  # the browser's own sandbox refuses to start as root
        code = _run([str(browser), *options, page.as_uri()], said)
        data = made.read_bytes() if made.is_file() else b""
        if not is_whole(data):
            raise SatdiagError(_complaint(browser, code, said))
        return data


def is_whole(data: bytes) -> bool:
    """True of a whole PDF with text in it: its header, its end mark and a font (ISO 32000-2, 7.5.2 and 7.5.5)."""
    return data.startswith(PDF_BEGINS) and b"%%EOF" in data[-1024:] and b"/Font" in data


def _run(command: list[str], said: Path) -> int | None:
    """Run the browser; its exit code, or None if it had to be stopped. Its children end with it."""
    with said.open("wb") as out:
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=os.name != "nt",
        )
        try:
            return process.wait(TIME_LIMIT_S)
        except subprocess.TimeoutExpired:
            return None
        finally:
            _stop(process)


def _stop(process: subprocess.Popen[bytes]) -> None:
    """End the browser and whatever it started, if it has not ended by itself."""
    if process.poll() is None:
        if sys.platform == "win32":
            subprocess.run(["taskkill", "/T", "/F", "/PID", str(process.pid)], capture_output=True, check=False)
        else:
            os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def _complaint(browser: Path, code: int | None, said: Path) -> str:
    if code is None:
        why = f"it did not finish within {TIME_LIMIT_S:.0f} s"
    else:
        lines = said.read_text("utf-8", errors="replace").strip().splitlines()
        why = f"it ended with code {code}" + (f": {lines[-1][:200]}" if lines else "")
    return (
        f"{browser}: the browser made no PDF ({why}). Nothing was changed. Open the HTML report and print it from "
        f"there, or name another browser in {VARIABLE}."
    )


def _snap_folder(browser: Path) -> Path | None:
    """The one folder that a browser packed as a snap shares with us; None: any folder will do.

    Such a browser sees neither the system's folder for temporary files nor hidden folders (from memory).
    """
    if not sys.platform.startswith("linux"):
        return None
    script = browser.stat().st_size < 10_000 and b"/snap/" in browser.read_bytes()
    if not (script or browser.resolve() == Path("/usr/bin/snap")):
        return None
    shared = Path.home() / "snap" / "chromium" / "common"
    shared.mkdir(parents=True, exist_ok=True)
    return shared
