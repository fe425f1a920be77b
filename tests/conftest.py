"""What all tests share: assertions that tell what they compared, no user folder of whoever runs them, signals
that reach what they start, and what several workers may run at once."""

import os
import signal

import pytest

pytest.register_assert_rewrite("tests.recorder.conformance", "tests.helpers")

REAL_TIME = (
    "tests/live/browser/",
    "tests/live/test_deck.py",
    "tests/live/test_events.py",
    "tests/live/test_making.py",
    "tests/live/test_serve.py",
    "tests/live/test_speed.py",
    "tests/live/test_taps.py",
    "tests/handover/test_figures_export.py",
    "tests/handover/test_paper_form.py",
    "tests/recorder/test_conformance.py",
    "tests/recorder/test_gnss_",
    "tests/recorder/test_keyboard.py",
    "tests/recorder/test_kill.py",
    "tests/recorder/test_loop.py",
    "tests/recorder/test_port.py",
    "tests/recorder/test_record_",
    "tests/recorder/test_replay_source.py",
    "tests/recorder/test_runner.py",
    "tests/recorder/test_serial_source.py",
    "tests/recorder/test_writer.py",
    "tests/report/test_report_appendix.py",
    "tests/report/test_report_pdf.py",
    "tests/simulate/test_serve.py",
    "tests/store/test_live_",
)
"""Files whose tests wait for processes, browsers or clocks and say how long that may take: two of them at once on a
small computer would take each other's time. They mostly wait, so that there is room for one that computes beside."""

PATIENT = tuple(
    f"tests/live/browser/test_{name}.py"
    for name in (
        "live_axe",
        "lineup_page",
        "page_languages",
        "sky_page",
        "timing_page",
        "verdict_page",
        "wiring_page",
    )
)
"""Files of a browser that wait as long as it takes: they may run beside those above."""

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


def pytest_configure():
    """Let signals reach the processes that tests start: `nohup` and a shell's `&` have them ignored by all below."""
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
    """In a worker: what waits first, so that the worker that has it is not the last to end."""
    if hasattr(config, "workerinput"):
        items.sort(key=lambda item: _group(item.nodeid) != "real-time")


def _group(nodeid):
    """What one worker is given at a time."""
    file = nodeid.partition("::")[0]
    hurried = file.startswith(REAL_TIME) and file not in PATIENT
    return "real-time" if hurried else TOGETHER.get(file, file)


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
