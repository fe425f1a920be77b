"""The headless browser and the checker of HTML that the report's tests use."""

from tests.report.conftest import chromium
from tests.report.test_report_valid import java

__all__ = ["chromium", "java"]
