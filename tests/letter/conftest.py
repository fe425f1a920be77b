"""The headless browser that the report's tests use."""

from tests.report.conftest import chromium

__all__ = ["chromium"]
