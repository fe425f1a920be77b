"""Every parser that is tried, by its name."""

from __future__ import annotations

from tests.hardening.fuzz_commands import COMMAND_PARSERS
from tests.hardening.fuzz_engine import Parser
from tests.hardening.fuzz_files import FILE_PARSERS
from tests.hardening.fuzz_http import HTTP_PARSERS
from tests.hardening.fuzz_recorded import RECORDED_PARSERS
from tests.hardening.fuzz_sky import SKY_PARSERS
from tests.hardening.fuzz_sqlite import SQLITE_PARSERS
from tests.hardening.fuzz_texts import TEXT_PARSERS
from tests.hardening.fuzz_zip import ZIP_PARSERS

_TEXTS = (*TEXT_PARSERS, *SKY_PARSERS, *RECORDED_PARSERS)
_FILES = (*ZIP_PARSERS, *SQLITE_PARSERS, *FILE_PARSERS)
PARSERS: dict[str, Parser] = {one.name: one for one in (*_TEXTS, *_FILES, *HTTP_PARSERS, *COMMAND_PARSERS)}
