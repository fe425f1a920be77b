"""`satdiag record` in a real terminal: what a person sees, what the keys do, and how the terminal is left behind."""

import os
import re
import subprocess
import sys

import pytest

from satdiag.store import check_job_file, read_job_file
from tests.ports import free_port
from tests.recorder.devices import until
from tests.recorder.recording import Talker, at_rest, new_job_file

if sys.platform == "win32":
    pytest.skip("pseudo-terminals are POSIX", allow_module_level=True)

import termios

WIDTH, HEIGHT = 80, 24
CTRL_C, ENTER, TAB = b"\x03", b"\r", b"\t"
PATIENCE_S = 60.0
IN_A_TERMINAL_OF_ITS_OWN = """
import os, sys
os.close(os.open(os.ttyname(0), os.O_RDWR))  # a session's first process gets the first terminal it opens (man 4 tty)
os.execv(sys.executable, [sys.executable, "-m", "satdiag", "record", *sys.argv[1:]])
"""


class Screen:
    """What a terminal shows of what was written to it: the control sequences of ECMA-48 that are in use here."""

    def __init__(self, text):
        self.rows = [[" "] * WIDTH for _ in range(HEIGHT)]
        self.row = self.column = 0
        self.cursor_shown = True
        text = re.sub(r"\x1b(\[[?0-9;]*)?$", "", text)  # a sequence that has not come whole yet
        for sequence, piece in re.findall(r"(\x1b\[[?0-9;]*[A-Za-z])|(.)", text, re.DOTALL):
            self._do(sequence) if sequence else self._show(piece)

    def __str__(self):
        return "\n".join("".join(row).rstrip() for row in self.rows)

    def _show(self, character):
        if character == "\r":
            self.column = 0
        elif character == "\n":
            self._down()
        else:
            assert character.isprintable(), f"not known here: {character!r}"
            if self.column == WIDTH:  # only what comes behind a full line begins the next one
                self._down()
                self.column = 0
            self.rows[self.row][self.column] = character
            self.column += 1

    def _down(self):
        if self.row == HEIGHT - 1:
            self.rows = [*self.rows[1:], [" "] * WIDTH]
        else:
            self.row += 1

    def _do(self, sequence):
        numbers, what = sequence[2:-1], sequence[-1]
        if what == "A":
            self.row = max(0, self.row - int(numbers or 1))
        elif sequence == "\x1b[2K":
            self.rows[self.row] = [" "] * WIDTH
        elif numbers == "?25":
            self.cursor_shown = what == "h"
        else:
            assert what == "m", f"not known here: {sequence!r}"


class Terminal:
    """`satdiag record --acks` in a terminal of its own, which a person holds the other end of."""

    def __init__(self, *arguments):
        self._person, self.program = os.openpty()
        os.set_blocking(self._person, False)
        termios.tcsetwinsize(self.program, (HEIGHT, WIDTH))
        self.process = subprocess.Popen(
            [sys.executable, "-c", IN_A_TERMINAL_OF_ITS_OWN, "--acks", *map(str, arguments)],
            stdin=self.program, stdout=subprocess.PIPE, stderr=self.program, start_new_session=True,
        )  # fmt: skip
        self._written = b""

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.kill()
        self.process.wait()
        self.process.stdout.close()
        self.close()
        os.close(self.program)

    @property
    def text(self):
        """All that was written to it so far."""
        try:
            while self._person >= 0 and (piece := os.read(self._person, 65536)):
                self._written += piece
        except BlockingIOError:
            pass
        return self._written.decode(errors="replace")

    @property
    def screen(self):
        """What is seen now."""
        return str(Screen(self.text))

    def press(self, keys):
        """Press keys."""
        assert os.write(self._person, keys) == len(keys)

    def wait_for(self, pattern):
        """Until something is seen: a regular expression. What is seen then."""
        found = until(lambda: re.search(pattern, self.screen) or self.process.poll() is not None, PATIENCE_S)
        assert found, f"not seen: {pattern}\n{self.screen}"
        assert re.search(pattern, self.screen), f"it ended without {pattern}\n{self.screen}"
        return self.screen

    def close(self):
        """Close the window."""
        if self._person >= 0:
            os.close(self._person)
            self._person = -1

    def end(self):
        """Wait for the end; exit code and what was acknowledged."""
        assert until(lambda: self.text is not None and self.process.poll() is not None, PATIENCE_S), self.screen
        acknowledged = self.process.stdout.read().decode().splitlines()
        return self.process.returncode, [line.removeprefix("ack ") for line in acknowledged]


@pytest.fixture
def a_terminal(monkeypatch):
    """The environment of one that can do everything."""
    monkeypatch.setenv("TERM", "xterm")
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LINES", "TTY_COMPATIBLE", "TTY_INTERACTIVE"):
        monkeypatch.delenv(name, raising=False)


def typed_rows(place):
    """What was typed in, as it stands in the job."""
    return [" ".join(filter(None, row[1:5])) for row in read_job_file(place).rows if row.source == "hand"]


def test_keys_make_rows_and_ctrl_c_leaves_the_terminal_as_it_was(tmp_path, a_terminal):
    place = new_job_file(tmp_path / "job.satjob")
    with Talker(20) as talker, Terminal(place, "--from", talker.spec) as terminal:
        before = termios.tcgetattr(terminal.program)
        seen = terminal.wait_for(r"Recording since \d+ s: 1 of 1 source heard\.")
        assert re.search(r"^what you see>", seen, re.MULTILINE)
        assert not termios.tcgetattr(terminal.program)[3] & (termios.ECHO | termios.ICANON)
        terminal.press(b"channel 31 r" + TAB)
        terminal.wait_for(r"what you see> channel 31 refused")
        assert typed_rows(place) == []
        terminal.press(ENTER)
        terminal.wait_for(r"written: channel 31 refused \(r1-\d+\)")
        assert typed_rows(place) == ["channel 31 refused"]  # what is said to be written is
        terminal.press("note größer als ß".encode() + ENTER)
        terminal.wait_for(r"written: note größer als ß")
        terminal.wait_for(r"levels +any \d+ dB")
        terminal.press(CTRL_C)
        code, acknowledged = terminal.end()
        assert termios.tcgetattr(terminal.program) == before
        left = Screen(terminal.text)
    assert code == 0
    assert left.cursor_shown
    assert f"Next: satdiag analyse {place}" in str(left).replace("\n", "")
    assert at_rest(place)
    assert check_job_file(place) == []
    assert typed_rows(place) == ["channel 31 refused", "note größer als ß"]
    assert acknowledged == [row.id for row in read_job_file(place).rows]


def test_what_is_typed_is_seen_on_a_crowded_screen_without_colours(tmp_path, a_terminal, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    place = new_job_file(tmp_path / "job.satjob")
    nobody = f"serial:socket://127.0.0.1:{free_port()}?profile=bench-lines"
    sources = [word for _ in range(8) for word in ("--from", nobody)]
    with Terminal(place, *sources) as terminal:
        terminal.wait_for(r"0 of 8 sources heard")
        terminal.press(b"note what is typed is seen")
        seen = terminal.wait_for(r"what you see> note what is typed is seen").splitlines()
        assert len(seen) == HEIGHT  # it is full, so that something is cut off
        terminal.press(ENTER)
        terminal.wait_for(r"written: note what is typed is seen")
        terminal.press(CTRL_C)
        code, _ = terminal.end()
        styles = re.findall(r"\x1b\[([\d;]*)m", terminal.text)
    assert code == 0
    assert typed_rows(place) == ["note what is typed is seen"]
    assert {number for style in styles for number in style.split(";")} <= {
        "",
        "0",
        "1",
        "7",
    }  # colours: 30 to 49, 90 on


def test_a_closed_window_ends_it_in_good_order(tmp_path, a_terminal):
    place = new_job_file(tmp_path / "job.satjob")
    with Talker(20) as talker, Terminal(place, "--from", talker.spec) as terminal:
        terminal.wait_for(r"1 of 1 source heard")
        terminal.press(b"channel 31 refused" + ENTER)
        terminal.wait_for(r"written: channel 31 refused")
        terminal.close()
        code, acknowledged = terminal.end()
    assert at_rest(place)
    assert check_job_file(place) == []
    assert acknowledged == [row.id for row in read_job_file(place).rows]
    assert typed_rows(place) == ["channel 31 refused"]
    assert code == 0


def test_a_dumb_terminal_gets_plain_lines(tmp_path, a_terminal, monkeypatch):
    monkeypatch.setenv("TERM", "dumb")
    place = new_job_file(tmp_path / "job.satjob")
    with Talker(20) as talker, Terminal(place, "--from", talker.spec) as terminal:
        before = termios.tcgetattr(terminal.program)
        terminal.wait_for(r"serial:bench-lines .*: listening")
        terminal.press(b"channel 31 refused" + ENTER)
        terminal.wait_for(r"taken: channel 31 refused")
        terminal.press(CTRL_C)
        code, _ = terminal.end()
        assert termios.tcgetattr(terminal.program) == before
        assert "\x1b" not in terminal.text
    assert code == 0
    assert typed_rows(place) == ["channel 31 refused"]
