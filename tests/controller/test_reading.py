"""Reading files: any file is read, or refused in one sentence, and never waited for."""

from __future__ import annotations

import json
import os
import socket
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.errors import InputError
from controller.reading import KIT, PLAN, FileKind, files_in, parse_json, read_bytes, read_json, read_text, read_toml

SMALL = FileKind("a note", 100, "Write a shorter one.")


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_text(path, SMALL)
    (sentence,) = caught.value.sentences
    assert sentence.startswith(f"{path}: ")
    return sentence.removeprefix(f"{path}: ")


def test_what_is_no_file(tmp_path: Path) -> None:
    assert refusal(tmp_path) == "is a folder, not a note. Write a shorter one."
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert refusal(pipe) == "is a pipe, not a note. Write a shorter one."
    assert refusal(Path("/dev/null")) == "is a device, not a note. Write a shorter one."
    assert refusal(tmp_path / "nothing") == "does not exist."
    (tmp_path / "link").symlink_to(tmp_path / "gone")
    assert refusal(tmp_path / "link") == "is a link to a file that does not exist."
    (tmp_path / "round").symlink_to(tmp_path / "round")
    assert refusal(tmp_path / "round") == "is a link that leads back to itself."
    assert refusal(tmp_path / ("n" * 300)) == "no file can have so long a name."
    with socket.socket(socket.AF_UNIX) as bound:
        bound.bind(str(tmp_path / "s"))
        assert refusal(tmp_path / "s") == "is a socket, not a note. Write a shorter one."
    with pytest.raises(InputError, match="no file can have this name"):
        read_text(Path("a\0b"), SMALL)


def test_a_file_of_too_many_bytes(tmp_path: Path) -> None:
    path = tmp_path / "note"
    path.write_bytes(b"x" * 100)
    assert read_bytes(path, SMALL) == b"x" * 100
    path.write_bytes(b"x" * 101)
    assert refusal(path) == "is 0.000101 MB, too large for a note. Write a shorter one."


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="a file that says nothing of its size")
def test_a_file_that_says_it_is_empty(tmp_path: Path) -> None:
    assert refusal(Path("/proc/self/environ")).endswith("Write a shorter one.") or len(os.environb) < 3


def test_text_that_is_not_utf_8_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "note"
    path.write_bytes(b"one\ntwo\n\xff\xfe")
    assert refusal(path) == "line 3 is not text in UTF-8, so this is not a note. Write a shorter one."
    path.write_bytes(b"\xef\xbb\xbfwith a mark")
    assert read_text(path, SMALL) == "with a mark"


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.binary(max_size=400) | st.text(max_size=200).map(lambda text: text.encode(errors="surrogatepass")))
def test_any_bytes_are_read_or_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "any"
    path.write_bytes(content)
    for read, kind in ((read_toml, KIT), (read_json, PLAN)):
        try:
            read(path, kind)
        except InputError as error:
            (sentence,) = error.sentences
            assert sentence.startswith(f"{path}: ")
            assert sentence.endswith(kind.cure)


@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000,
        '{"a":' * 100_000,
        "1" * 5000,
        '{"a": NaN}',
        "[Infinity]",
        "[-Infinity]",
        '{"a": 1, "a": 2}',
        "",
        "{",
        "[1,]",
        "'a'",
    ],
)
def test_json_that_no_program_should_write(text: str) -> None:
    """RFC 8259, and nesting or numbers beyond all bounds."""
    with pytest.raises(InputError) as caught:
        parse_json(text, "file", PLAN)
    assert len(caught.value.sentences[0]) < 300


@pytest.mark.parametrize("text", ["a = " + "[" * 100_000, "a = " + "1" * 5000, "a = 1\na = 2", "a", "a = 0x"])
def test_toml_that_no_person_should_write(tmp_path: Path, text: str) -> None:
    path = tmp_path / "kit.toml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_toml(path, KIT)
    assert len(caught.value.sentences[0].removeprefix(str(path))) < 300


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**63) + 1, 2**63 - 1) | st.text(),
    lambda one: st.lists(one) | st.dictionaries(st.text(), one),
)


@given(VALUES)
def test_json_that_python_writes_is_read(value: object) -> None:
    assert parse_json(json.dumps(value), "file", PLAN) == value


def test_whoever_may_not_read(tmp_path: Path) -> None:
    path = tmp_path / "note"
    path.write_text("x")
    path.chmod(0)
    if sys.platform == "win32" or os.geteuid() == 0:
        pytest.skip("whoever may do anything is refused nothing")
    assert refusal(path) == "you have no permission to read it."


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (".".join("a" * 100_000) + " = 1", "line 1 has 200003 characters; no more than 1000 are read."),
        ("b = 1\n" + ".".join("a" * 40) + " = 1", "is nested too deeply for a kit, at a.a.a.a.a.a.a.a."),
        ("[head]\nring_hz = inf", "head.ring_hz = inf is not a finite number."),
        ("[[head]]\na = [1, nan]", "head[0].a[1] = nan is not a finite number."),
        ("a = 9223372036854775808", "a = 9223372036854775808 is too large a number."),
        ("a = 1\nb = " + "1" * 900, "is too large a number."),
        ("a = 1\nb = [\n 2,\n 2026-02-30\n]\nc = 3", "is not valid TOML at line 4, column 2: 2026-02-30."),
        ("a = 1\na = 2", "is not valid TOML at line 2, column 6: a = 2: an earlier line has that name."),
        ("a = 1\n\nb = [1,", "is not valid TOML at line 3, column 8: b = [1,."),
    ],
)
def test_the_place_in_toml_is_named(text: str, says: str, tmp_path: Path) -> None:
    """The parser's time grows with the square of the parts of a key (tomllib of Python 3.11): the first took hours."""
    (tmp_path / "kit.toml").write_text(text)
    with pytest.raises(InputError) as caught:
        read_toml(tmp_path / "kit.toml", KIT)
    assert says in caught.value.sentences[0]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('{"a": [1, 1e999]}', "a[1] = inf is not a finite number."),
        ('{"a": {"b": 18446744073709551616}}', "a.b = 18446744073709551616 is too large a number."),
        ('{"a": "\\ud800"}', "a holds half of a pair of surrogates, which is no text."),
        ('{"\\ud800": 1}', "it holds half of a pair of surrogates, which is no text."),
        ("[" * 40 + "]" * 40, "is nested too deeply for a plan, at [0][0][0]"),
        ('{\n "a": 1\n "b": 2}', 'is not a plan (not valid JSON at line 3, column 2: "b": 2}).'),
        ('{"\x1b[2J": 1, "\x1b[2J": 2}', "is not a plan (not valid JSON"),
    ],
)
def test_the_place_in_json_is_named(text: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_json(text, "file", PLAN)
    assert says in caught.value.sentences[0]
    assert caught.value.sentences[0].isprintable()


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="a file whose first byte is an error")
def test_a_disk_that_fails(tmp_path: Path) -> None:
    (tmp_path / "note").symlink_to("/proc/self/mem")
    assert refusal(tmp_path / "note").startswith("the disk or card reports an error as it is read;")


def test_a_folder_that_is_none(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    assert files_in(tmp_path) == [tmp_path / "file"]
    for path, says in ((tmp_path / "file", "one of its folders is a file"), (tmp_path / "gone", "does not exist")):
        with pytest.raises(InputError, match=says):
            files_in(path)
