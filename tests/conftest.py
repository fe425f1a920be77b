"""What all tests share: assertions that tell what they compared, no user folder of whoever runs them, signals
that reach what they start, and what several workers may run at once, and which of them gives way."""

import os
import signal

import pytest

pytest.register_assert_rewrite("tests.recorder.conformance", "tests.helpers")

REAL_TIME = (
    "tests/cli/test_try.py",
    "tests/fleet/test_fleet_bad_jobs.py",
    "tests/live/test_serve.py",
    "tests/recorder/test_conformance.py",
    "tests/recorder/test_gnss_conformance.py",
    "tests/recorder/test_port.py",
    "tests/report/test_report_pdf.py",
    "tests/simulate/test_serve.py",
)
"""Files with tests against a clock, which try again until it holds (`quickest`, `at_some_pace`): two of them at once
on a small computer would take each other's time."""

WAITS = (
    "tests/cli/test_simulate.py",
    "tests/fleet/",
    "tests/handover/test_figures_export.py",
    "tests/handover/test_paper_form.py",
    "tests/hardening/test_record_together_",
    "tests/letter/test_letter_page.py",
    "tests/live/",
    "tests/recorder/test_kill.py",
    "tests/recorder/test_record_",
    "tests/report/",
    "tests/store/",
)
"""Files whose tests mostly wait for processes and browsers, for as long as it takes. They are strewn among those that
compute, so that there is always something for every core."""

TOGETHER = {
    "tests/acceptance/test_samples_confirm.py": "samples",
    "tests/test_samples.py": "samples",
    "tests/letter/test_letter_samples.py": "samples",
    "tests/letter/test_letter_channels.py": "samples",
    "tests/letter/test_letter_words.py": "samples",
    "tests/letter/test_letter_page.py": "samples",
    "tests/entitlement/test_reliability.py": "made-worlds",
    "tests/entitlement/test_worlds.py": "made-worlds",
}
"""Files that share what is dear to make."""


GIVES_WAY = 3
"""How nice (nice(2)) a worker is that computes, so that the one whose tests are against the clock goes first. With
more whatever else runs on the computer would nearly stop the tests."""


def pytest_configure(config):
    """Let signals reach the processes that tests start: `nohup` and a shell's `&` have them ignored by all below."""
    from hypothesis import settings

    settings.register_profile("beside-others", settings(), deadline=None)  # a test may be held up at any time
    settings.load_profile("beside-others")
    for name, handler in (("SIGINT", signal.default_int_handler), ("SIGHUP", lambda *_: None)):
        if (number := getattr(signal, name, None)) and signal.getsignal(number) == signal.SIG_IGN:
            signal.signal(number, handler)  # a handler is not inherited


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Where several workers share the tests: those against the clock all to one, the others by file."""
    if config.getoption("dist") != "loadscope":
        return None
    from xdist.scheduler import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        """Hands out what belongs together. (The marks of xdist_group do nothing from pytest 9.2 on.)"""

        def _split_scope(self, nodeid):
            return _group(nodeid)

    return ByFile(config, log)


def pytest_collection_modifyitems(config, items):
    """In a worker: the clock's first, then those that wait and those that compute, evenly mixed."""
    if hasattr(config, "workerinput"):
        places = _places([_group(item.nodeid) for item in items])
        items.sort(key=lambda item: places[_group(item.nodeid)])


def _places(groups):
    """Where each group stands in the order, from 0 to 1."""
    places = {"real-time": -1.0}
    for waits in (True, False):
        sort = [one for one in dict.fromkeys(groups) if one != "real-time" and one.startswith(WAITS) == waits]
        places |= {one: (number + 0.5) / len(sort) for number, one in enumerate(sort)}
    return places


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item):
    """In a worker: give way from the first test on that is not against the clock; there is no way back."""
    if hasattr(item.config, "workerinput") and hasattr(os, "nice") and _group(item.nodeid) != "real-time":
        os.nice(max(0, GIVES_WAY - os.nice(0)))


def _group(nodeid):
    """What one worker is given at a time."""
    file = nodeid.partition("::")[0]
    return "real-time" if file.startswith(REAL_TIME) else TOGETHER.get(file, file)


@pytest.fixture(autouse=True, scope="session")
def _user_folder_apart(tmp_path_factory):
    """What somebody's own user folder holds must not move a test."""
    before = os.environ.get("SATDIAG_USER_FOLDER")
    os.environ["SATDIAG_USER_FOLDER"] = str(tmp_path_factory.mktemp("user-folder"))
    yield
    if before is None:
        del os.environ["SATDIAG_USER_FOLDER"]
    else:
        os.environ["SATDIAG_USER_FOLDER"] = before
