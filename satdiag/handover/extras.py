"""Optional parts: each needs a library that is installed by an extra, and one clear error where it is not."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

from satdiag.errors import MissingPart, how_to_install


def needed(module: str, extra: str, what: str) -> ModuleType:
    """A library of an extra. Raises MissingPart that says what cannot be made and how to install it.

    Example: `needed("openpyxl", "spreadsheet", "A spreadsheet file")`.
    """
    try:
        return import_module(module)
    except ImportError:
        raise MissingPart(
            f"{what} needs {module.partition('.')[0]}, which is not installed. {how_to_install(extra)}"
        ) from None
