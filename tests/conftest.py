"""Helpers of the tests whose assertions should tell what they compared."""

import pytest

pytest.register_assert_rewrite("tests.recorder.conformance", "tests.helpers")
