"""Keys of real terminals and lines of real pipes: nothing lost, nothing waited for too long, everything set back."""

import os
import subprocess
import sys
import threading
import time
from contextlib import contextmanager

import pytest

from satdiag.recorder.key_names import KeyReader
from satdiag.recorder.keyboard import LONGEST_LINE, PipeLines, WindowsKeyboard, open_keyboard

posix = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
PATIENCE_S = 60.0


@contextmanager
def terminal():
    """Both ends of a pseudo-terminal: what a person holds, and what a program sees."""
    person, program = os.openpty()
    try:
        yield person, program
    finally:
        os.close(person)
        os.close(program)


def until(keyboard, count):
    """Keys until there are so many."""
    found, end = [], time.monotonic() + PATIENCE_S
    while len(found) < count and time.monotonic() < end:
        found += keyboard.keys(0.2)
    return found


def timed(call, wait_s):
    """What a call returns, and that it did not wait on (a busy computer may hold it up for some seconds)."""
    start = time.monotonic()
    result = call(wait_s)
    assert time.monotonic() - start < wait_s + PATIENCE_S
    return result


# --- a terminal ----------------------------------------------------------------------------------------------------


@posix
def test_keys_come_at_once_unseen_and_the_terminal_is_set_back():
    import termios

    with terminal() as (person, program):
        before = termios.tcgetattr(program)
        with open_keyboard(program) as keyboard:
            assert timed(keyboard.keys, 0.05) == []
            os.write(person, b"a\r\x7f\t\x15")
            assert until(keyboard, 5) == ["a", "enter", "backspace", "tab", "ctrl-u"]
            flags = termios.tcgetattr(program)
            assert not flags[3] & (termios.ECHO | termios.ICANON)
            assert flags[3] & termios.ISIG
            os.set_blocking(person, False)
            with pytest.raises(BlockingIOError):  # nothing was echoed
                os.read(person, 100)
        assert termios.tcgetattr(program) == before


@posix
def test_the_terminal_is_set_back_after_an_error_too():
    import termios

    with terminal() as (_, program):
        before = termios.tcgetattr(program)
        with pytest.raises(ZeroDivisionError), open_keyboard(program):
            1 / 0  # noqa: B018
        assert termios.tcgetattr(program) == before


@posix
def test_a_terminal_that_a_shell_set_otherwise_is_set_anew():
    import termios

    with terminal() as (person, program):
        before = termios.tcgetattr(program)
        with open_keyboard(program) as keyboard:
            termios.tcsetattr(program, termios.TCSANOW, before)
            keyboard.keys(0.0)
            os.write(person, b"x")
            assert until(keyboard, 1) == ["x"]
        assert termios.tcgetattr(program) == before


@posix
def test_a_character_cut_between_two_reads_is_one_key():
    with terminal() as (person, program), open_keyboard(program) as keyboard:
        for byte in "ß€😀".encode():
            os.write(person, bytes([byte]))
            found = keyboard.keys(0.2)
            assert found in ([], ["ß"], ["€"], ["😀"])
        assert found == ["😀"]


@posix
def test_an_escape_alone_is_a_key_and_a_sequence_cut_after_it_is_not():
    with terminal() as (person, program), open_keyboard(program) as keyboard:
        os.write(person, b"\x1b")
        assert until(keyboard, 1) == ["escape"]
        os.write(person, b"\x1b")
        assert keyboard.keys(0.2) == []
        os.write(person, b"[A")
        assert keyboard.keys(0.2) == ["up"]


@posix
def test_a_terminal_that_is_gone_ends_the_keyboard():
    person, program = os.openpty()
    try:
        with open_keyboard(program) as keyboard:
            os.close(person)
            assert timed(keyboard.keys, 0.2) == []
            assert keyboard.ended
            assert timed(keyboard.keys, 0.1) == []
    finally:
        os.close(program)


@posix
def test_what_is_no_terminal_is_an_ended_keyboard():
    read, write = os.pipe()
    os.close(write)
    with open_keyboard(read) as keyboard:
        assert keyboard.ended
    os.close(read)
    with open_keyboard(read) as keyboard:
        assert (keyboard.ended, timed(keyboard.keys, 0.01)) == (True, [])


OWN_TERMINAL = """
import fcntl, os, signal, subprocess, sys, termios, time
from satdiag.recorder.keyboard import open_keyboard
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
before = termios.tcgetattr(0)
"""


@contextmanager
def child(script, *arguments):
    """A program whose standard input is a terminal of its own; and the person's end of that."""
    with terminal() as (person, program):
        command = [sys.executable, "-c", OWN_TERMINAL + script, *arguments]
        with subprocess.Popen(
            command, stdin=program, stdout=subprocess.PIPE, start_new_session=True, text=True
        ) as process:
            try:
                yield process, person
            finally:
                process.kill()


@posix
def test_ctrl_c_stays_a_signal_and_the_terminal_is_set_back():
    script = """
try:
    with open_keyboard() as keyboard:
        print("ready", flush=True)
        while True:
            keyboard.keys(0.2)
except KeyboardInterrupt:
    print("same" if termios.tcgetattr(0) == before else "changed", flush=True)
"""
    with child(script) as (process, person):
        assert process.stdout.readline() == "ready\n"
        os.write(person, b"\x03")
        assert process.stdout.readline() == "same\n"
        assert process.wait(PATIENCE_S) == 0


def until_keys_come_singly(terminal):
    """Until the program behind it has set the terminal so."""
    import termios

    end = time.monotonic() + PATIENCE_S
    while termios.tcgetattr(terminal)[3] & termios.ICANON:
        assert time.monotonic() < end, "the terminal was not set anew"
        time.sleep(0.01)


JOB = """
from satdiag.recorder.keyboard import open_keyboard
with open_keyboard() as keyboard:
    print("ready", flush=True)
    while not (found := keyboard.keys(0.1)):
        pass
    print(*found, flush=True)
"""

SHELL = """
signal.signal(signal.SIGTTOU, signal.SIG_IGN)  # as a shell does
job = subprocess.Popen([sys.executable, "-c", sys.argv[1]], process_group=0, stdout=subprocess.PIPE, text=True)
def stopped():
    return os.WIFSTOPPED(os.waitpid(job.pid, os.WUNTRACED | os.WNOHANG)[1])
def in_front(group):
    os.tcsetpgrp(0, group)
in_front(job.pid)
assert job.stdout.readline() == "ready\\n"
print("ready", flush=True)
while not stopped():  # by Ctrl-Z
    time.sleep(0.02)
in_front(os.getpgrp())
termios.tcsetattr(0, termios.TCSANOW, before)
os.killpg(job.pid, signal.SIGCONT)  # bg
print("behind", flush=True)
sys.stdin.readline()  # typed for the shell
time.sleep(0.4)
assert not stopped()
assert termios.tcgetattr(0) == before
in_front(job.pid)  # fg
print("in front", flush=True)
print(job.stdout.readline().strip(), job.wait(), flush=True)
in_front(os.getpgrp())
print("same" if termios.tcgetattr(0) == before else "changed", flush=True)
"""


@posix
def test_a_recording_stopped_by_ctrl_z_goes_on_behind_and_then_in_front_again():
    with child(SHELL, JOB) as (process, person):
        assert process.stdout.readline() == "ready\n"
        os.write(person, b"\x1a")
        assert process.stdout.readline() == "behind\n"
        os.write(person, b"ls\n")
        assert process.stdout.readline() == "in front\n"
        until_keys_come_singly(person)
        os.write(person, b"x")
        assert process.stdout.readline() == "x 0\n"
        assert process.stdout.readline() == "same\n"


# --- the names of keys ---------------------------------------------------------------------------------------------


@posix
@pytest.mark.parametrize("term", ["xterm", "xterm-256color", "linux", "vt220", "screen", "tmux", "rxvt"])
def test_keys_are_named_as_the_terminfo_database_describes_them(term):
    script = (
        "import curses, sys; curses.setupterm(sys.argv[1], 1)\n"
        "for name in sys.argv[2:]: print(name, (curses.tigetstr(name) or b'').hex())"
    )
    names = {
        "kcuu1": "up",
        "kcud1": "down",
        "kcub1": "left",
        "kcuf1": "right",
        "khome": "home",
        "kend": "end",
        "kdch1": "delete",
        "kbs": "backspace",
        "cr": "enter",
        "ht": "tab",
    }
    done = subprocess.run([sys.executable, "-c", script, term, *names], capture_output=True, text=True)
    if done.returncode:
        pytest.skip(f"no terminfo entry of {term} here")
    sent = {name: bytes.fromhex(text) for name, text in (line.split(" ") for line in done.stdout.splitlines())}
    assert sum(map(bool, sent.values())) >= 8
    for name, data in sent.items():
        if data:
            assert KeyReader().feed(data) == [names[name]], (name, data)
            one_by_one = KeyReader()
            assert [key for byte in data for key in one_by_one.feed(bytes([byte]))] == [names[name]]


@pytest.mark.parametrize(
    ("data", "keys"),
    [
        (b"\x1bOA\x1b[1;5C", "up right"),  # application mode; with Ctrl held (ECMA-48 parameters)
        (b"\x1b[3;2~\x1b[5~\x1b[15~x", "delete x"),  # page up and F5 mean nothing
        (b"\x1b[[Ax", "x"),  # F1 of the Linux console
        (b"\x1bxy", "y"),  # Alt-x
        (b"\x1b\x1b[A", "escape up"),
        (b"\x1b\r", "escape enter"),
        (b"\x01\x05\x0b\x08", "home end ctrl-k backspace"),
        (b"a\xffb", "a \ufffd b"),
        (b"\x00\x1c", ""),
        (b"\x1b[200~hi\x1b[201~", "h i"),  # bracketed paste
    ],
)
def test_sequences(data, keys):
    assert KeyReader().feed(data) == keys.split()
    whole = KeyReader()
    assert [key for byte in data for key in whole.feed(bytes([byte]))] == keys.split()


def test_a_broken_sequence_is_dropped_when_nothing_follows():
    reader = KeyReader()
    assert reader.feed(b"\x1b[1;") == []
    assert reader.waits
    assert reader.flush() == []
    assert reader.feed(b"x") == ["x"]


class Console:
    """A console of Windows with keys waiting (units as Microsoft documents them for _getwch)."""

    def __init__(self, units):
        self.units = list(units)

    def kbhit(self):
        return bool(self.units)

    def getwch(self):
        return self.units.pop(0)


@pytest.mark.parametrize(
    ("units", "keys"),
    [
        ("a\r\x08\t", ["a", "enter", "backspace", "tab"]),
        ("\xe0H\xe0P\x00K\xe0M\xe0G\xe0O\xe0S", ["up", "down", "left", "right", "home", "end", "delete"]),
        ("\x00;x", ["x"]),  # F1
        ("\xe0", ["à"]),
        ("\ud83d\ude00", ["😀"]),
        ("", []),
    ],
)
def test_keys_of_the_console_of_windows(units, keys):
    assert timed(WindowsKeyboard(Console(units)).keys, 0.05) == keys


def test_ctrl_c_read_from_the_console_is_the_signal():
    with pytest.raises(KeyboardInterrupt):
        WindowsKeyboard(Console("\x03")).keys(0.0)


# --- a pipe --------------------------------------------------------------------------------------------------------


@contextmanager
def pipe():
    """Both ends; the writing one may be closed early."""
    read, write = os.pipe()
    open_ends = [write]

    def close():
        for end in open_ends:
            os.close(end)
        open_ends.clear()

    try:
        yield read, write, close
    finally:
        close()
        os.close(read)


both_ways = pytest.mark.parametrize(
    "threaded", [pytest.param(False, marks=posix, id="select"), pytest.param(True, id="thread")]
)


def all_lines(lines, count):
    found, end = [], time.monotonic() + PATIENCE_S
    while len(found) < count and not lines.ended and time.monotonic() < end:
        found += lines.lines(0.2)
    return found


@both_ways
def test_lines_of_a_pipe_come_whole_and_the_last_without_an_end_at_the_end(threaded):
    with pipe() as (read, write, close), PipeLines(read, threaded) as lines:
        assert timed(lines.lines, 0.05) == []
        os.write(write, b"\xef\xbb\xbftune 31\r\naudio\n\nno")
        assert all_lines(lines, 3) == ["tune 31", "audio", ""]
        for byte in "te ß\nlast".encode():
            os.write(write, bytes([byte]))
        assert all_lines(lines, 1) == ["note ß"]
        assert not lines.ended
        close()
        assert all_lines(lines, 1) == ["last"]
        assert lines.ended
        assert timed(lines.lines, 5.0) == []


@both_ways
def test_many_lines_arrive_complete_and_in_order(threaded):
    sent = [f"note line {number} {'x' * (number % 200)}" for number in range(20_000)]

    def write_all(write, close):
        data = "\n".join(sent).encode()
        while data:
            data = data[os.write(write, data[:50_000]) :]
        close()

    with pipe() as (read, write, close), PipeLines(read, threaded) as lines:
        thread = threading.Thread(target=write_all, args=(write, close))
        thread.start()
        found = all_lines(lines, len(sent) + 1)
        thread.join(PATIENCE_S)
    assert found == sent


@both_ways
def test_a_pipe_that_is_left_early_leaves_nothing_behind(threaded):
    with pipe() as (read, write, close):
        with PipeLines(read, threaded) as lines:
            os.write(write, b"a\nb\n")
            assert all_lines(lines, 1)[:1] == ["a"]
        assert lines.ended
        assert lines.lines(5.0) == []
        close()  # a thread that waits for it ends here; see conftest.py


@both_ways
def test_a_line_without_end_is_cut(threaded, tmp_path):
    place = tmp_path / "long.txt"
    place.write_bytes(b"x" * (2 * LONGEST_LINE + 5))
    with place.open("rb") as file, PipeLines(file.fileno(), threaded) as lines:
        assert [len(line) for line in all_lines(lines, 4)] == [LONGEST_LINE, LONGEST_LINE, 5]
        assert lines.ended


@both_ways
def test_a_closed_standard_input_has_ended(threaded, monkeypatch):
    read, write = os.pipe()
    os.close(read)
    os.close(write)
    with PipeLines(read, threaded) as lines:
        assert all_lines(lines, 1) == []
        assert lines.ended
    with open(os.devnull) as closed:
        pass
    for stdin in (None, closed):
        monkeypatch.setattr(sys, "stdin", stdin)
        with PipeLines(threaded=threaded) as lines:
            assert lines.ended
            assert lines.lines(5.0) == []


@both_ways
def test_an_empty_input_ends_at_once(threaded):
    with open(os.devnull, "rb") as file, PipeLines(file.fileno(), threaded) as lines:
        assert all_lines(lines, 1) == []
        assert lines.ended


@posix
def test_a_terminal_without_a_screen_gives_whole_lines():
    with terminal() as (person, program), PipeLines(program) as lines:
        os.write(person, b"tune 31\rau")
        assert all_lines(lines, 1) == ["tune 31"]
        os.write(person, b"dio\n\x04")
        assert all_lines(lines, 2) == ["audio"]
        assert lines.ended
