"""One line being typed: what each key does to it."""

import random

import pytest

from satdiag.recorder.line_editor import LONGEST, REMEMBERED, LineEditor

WORDS = ("channel", "channels", "title", "ring", "node:", "bars/")


def complete(text):
    last = "" if not text or text[-1].isspace() else text.split()[-1]
    return [word for word in WORDS if word.startswith(last.lower())]


def typed(keys, editor=None):
    """An editor after some keys: single characters, or names in angle brackets."""
    editor = editor or LineEditor(complete)
    while keys:
        if keys[0] == "<":
            name, _, keys = keys[1:].partition(">")
            editor.feed(name)
        else:
            editor.feed(keys[0])
            keys = keys[1:]
    return editor


@pytest.mark.parametrize(
    ("keys", "line"),  # the bar is the cursor
    [
        ("abc", "abc|"),
        ("abc<left><left>x", "ax|bc"),
        ("abc<home>x<end>y", "xabcy|"),
        ("abc<backspace>", "ab|"),
        ("abc<home><backspace>", "|abc"),
        ("abc<home><delete><delete>", "|c"),
        ("abc<delete>", "abc|"),
        ("abc<left><left><left><left>x<right><right><right><right>y", "xabcy|"),
        ("tune 31<left><ctrl-u>", "|1"),
        ("tune 31  <ctrl-w>", "tune |"),
        ("tune 31<left><ctrl-w>", "tune |1"),
        ("tune 31<escape>", "|"),
        ("äß€😀<left><backspace>", "äß|😀"),
        ("a<f1>b<ctrl-x>c\x07", "abc|"),
    ],
)
def test_editing(keys, line):
    editor = typed(keys)
    assert f"{editor.text[: editor.cursor]}|{editor.text[editor.cursor :]}" == line


def test_enter_hands_the_line_out_and_begins_a_new_one():
    editor = typed("tune 31<left>")
    assert editor.feed("enter") == "tune 31"
    assert (editor.text, editor.cursor) == ("", 0)
    assert editor.feed("enter") == ""
    assert editor.feed("x") is None


@pytest.mark.parametrize(
    ("keys", "line", "choices"),
    [
        ("ti<tab>", "title |", ()),
        ("TI<tab>", "title |", ()),
        ("c<tab>", "channel|", ("channel", "channels")),
        ("channel<tab>", "channel|", ("channel", "channels")),
        ("channels<tab>", "channels |", ()),
        ("x<tab>", "x|", ()),
        ("no<tab>", "node:|", ()),
        ("3 ba<tab>", "3 bars/|", ()),
        ("help ti<tab>", "help title |", ()),
        ("<tab>", "|", WORDS),
        ("ti x<left><left><tab>", "title |x", ()),
        ("tix<left><tab>", "title |x", ()),
        ("c<tab>s", "channels|", ()),
        ("c<tab><left>", "channe|l", ()),
    ],
)
def test_tab_completes_as_far_as_it_is_clear_and_shows_the_choices(keys, line, choices):
    editor = typed(keys)
    assert f"{editor.text[: editor.cursor]}|{editor.text[editor.cursor :]}" == line
    assert editor.choices == choices


def test_completion_is_asked_for_the_text_before_the_cursor():
    asked = []
    typed("one two<left><left><tab>", LineEditor(lambda text: asked.append(text) or ()))
    assert asked == ["one t"]


def test_a_completion_may_hold_blanks():
    assert typed("site n<tab>", LineEditor(lambda text: ["north yard"])).text == "site north yard "


def test_up_and_down_go_through_what_was_entered_and_keep_the_new_line():
    editor = typed("one<enter>two<enter>two<enter> <enter>new")
    seen = []
    for key in ("up", "up", "up", "down", "down", "down"):
        editor.feed(key)
        assert editor.cursor == len(editor.text)
        seen.append(editor.text)
    assert seen == ["two", "one", "one", "two", "new", "new"]


def test_a_line_of_the_past_can_be_changed_and_entered_and_stays_as_it_was():
    editor = typed("one<enter>two<enter><up><up>!")
    assert editor.feed("enter") == "one!"
    editor = typed("<up><up><up>", editor)
    assert editor.text == "one"


def test_escape_leaves_the_past_for_an_empty_line():
    editor = typed("one<enter>draft<up><escape>")
    assert editor.text == ""
    assert typed("<up><down>", editor).text == ""


def test_neither_the_past_nor_the_line_grows_without_end():
    editor = LineEditor(lambda text: ["y" * (LONGEST + 1)])
    for number in range(REMEMBERED + 10):
        typed(f"{number}<enter>", editor)
    for _ in range(REMEMBERED + 20):
        editor.feed("up")
    assert editor.text == "10"
    typed("<escape>" + "y" * (LONGEST + 5) + "<backspace><tab>", editor)
    assert len(editor.text) == LONGEST - 1


def test_whatever_is_typed_the_cursor_stays_within_the_line():
    rng = random.Random(7)
    names = [
        "tab",
        "backspace",
        "delete",
        "left",
        "right",
        "home",
        "end",
        "up",
        "down",
        "escape",
        "ctrl-u",
        "ctrl-w",
        "enter",
    ]
    editor = LineEditor(complete)
    for _ in range(20_000):
        editor.feed(rng.choice([*names, "enter", *"chti /:"]))
        assert 0 <= editor.cursor <= len(editor.text)
