"""Loading gigs: the right ones, every way a file can be no file, and that nothing whatever is raised."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.gigs import GIG, INPUTS, OUTPUTS, is_consistent, load, write

from lanternist.files.documents import MOST_BYTES, read
from lanternist.files.gig import load_gig
from lanternist.files.problems import Problem

DEMO = Path(__file__).resolve().parents[2] / "daemon" / "lanternist" / "demo"
DEMO_FILES = [DEMO / name for name in ("rig.toml", "rink.toml", "show.toml")]

quick = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def said(problems: list[Problem]) -> list[str]:
    return [str(problem) for problem in problems]


def test_a_right_gig(tmp_path: Path) -> None:
    gig, problems = load(write(tmp_path))
    assert problems == []
    assert gig is not None
    assert gig.folder == tmp_path
    assert [fixture.name for fixture in gig.rig.fixtures] == ["par 1", "par 2", "head", "own par"]
    assert [scene.name for scene in gig.show.scenes] == ["house"]
    assert set(gig.profiles) == {"par-rgb", "spot-head", "own"}


@pytest.mark.parametrize("rig", ["rig.toml", "rink.toml"])
def test_the_demo_has_nothing_wrong(rig: str) -> None:
    gig, problems = load(DEMO, rig)
    assert gig is not None
    assert problems == []


def test_another_rig_of_the_gig(tmp_path: Path) -> None:
    write(tmp_path, {"rink.toml": GIG["rig.toml"].replace("Village hall", "Rink")})
    (tmp_path / "places").mkdir()
    (tmp_path / "places" / "boat.toml").write_text(GIG["rig.toml"].replace("address = 11", "address = 0"))
    gig, _ = load(tmp_path, "rink.toml")
    assert gig is not None
    assert gig.rig.title == "Rink"
    assert load(tmp_path, "places/boat.toml")[1][0].file == "places/boat.toml"


@pytest.mark.parametrize("rig", ["../rig.toml", "/etc/hostname", "places/../../rig.toml"])
def test_a_rig_outside_the_gig_is_refused(rig: str, tmp_path: Path) -> None:
    gig, problems = load(write(tmp_path), rig)
    assert gig is None
    remedy = "name it as seen from that folder, for example rink.toml"
    assert said(problems) == [f"{rig}: the rig file has to lie in the gig's folder; {remedy}"]


@pytest.mark.parametrize("rig", ["show.toml", "", ".", "a\0b", "x" * 5000, "\udcff.toml", "profiles/own.toml"])
def test_odd_names_of_rigs_give_problems(rig: str, tmp_path: Path) -> None:
    gig, problems = load(write(tmp_path), rig)
    assert gig is None
    assert problems
    "".join(said(problems)).encode()


def test_missing_files(tmp_path: Path) -> None:
    write(tmp_path)
    (tmp_path / "rig.toml").rename(tmp_path / "boat.toml")
    assert said(load(tmp_path)[1]) == ["rig.toml: there is no such file; in that folder: boat.toml, show.toml"]
    (tmp_path / "boat.toml").rename(tmp_path / "rig.toml")
    (tmp_path / "show.toml").unlink()
    assert said(load(tmp_path)[1]) == ["show.toml: there is no such file; in that folder: rig.toml"]
    assert said(load(tmp_path / "nowhere")[1]) == [
        "rig.toml: there is no such file",
        "show.toml: there is no such file",
    ]


def test_a_folder_a_pipe_and_a_device_are_no_files(tmp_path: Path) -> None:
    write(tmp_path)
    (tmp_path / "rig.toml").unlink()
    (tmp_path / "rig.toml").mkdir()
    (tmp_path / "show.toml").unlink()
    os.mkfifo(tmp_path / "show.toml")  # to open it would wait for ever
    (tmp_path / "profiles" / "own.toml").unlink()
    remedy = "a text file is wanted here, not a folder or a device"
    assert said(load(tmp_path)[1]) == [f"rig.toml: this is no file; {remedy}", f"show.toml: this is no file; {remedy}"]
    assert str(read(Path("/dev/zero"), "rig.toml")) == f"rig.toml: this is no file; {remedy}"


def test_a_link_is_followed_and_a_link_to_itself_told(tmp_path: Path) -> None:
    write(tmp_path)
    (tmp_path / "elsewhere.txt").write_text((tmp_path / "rig.toml").read_text())
    (tmp_path / "rig.toml").unlink()
    (tmp_path / "rig.toml").symlink_to(tmp_path / "elsewhere.txt")
    assert load(tmp_path)[0] is not None
    (tmp_path / "rig.toml").unlink()
    (tmp_path / "rig.toml").symlink_to(tmp_path / "rig.toml")
    (problem,) = load(tmp_path)[1]
    assert str(problem) == "rig.toml: cannot be read (Too many levels of symbolic links); look at its permissions"


def test_a_file_too_large(tmp_path: Path) -> None:
    write(tmp_path, {"show.toml": b"#" * (MOST_BYTES + 1)})
    assert said(load(tmp_path)[1]) == ["show.toml: is larger than 4 MB; is it the right file?"]
    write(tmp_path, {"show.toml": GIG["show.toml"].encode() + b"#" * (MOST_BYTES - len(GIG["show.toml"]))})
    assert load(tmp_path)[0] is not None


def test_a_byte_order_mark_and_windows_line_ends_are_passed_over(tmp_path: Path) -> None:
    written = "\ufeff" + GIG["rig.toml"].replace("\n", "\r\n")
    assert load(write(tmp_path, {"rig.toml": written}))[0] is not None
    (problem,) = load(write(tmp_path, {"rig.toml": written.replace("address = 11", "address = 0")}))[1]
    assert problem.line == 16


TITLE = 'title = "Village hall"'


@pytest.mark.parametrize(
    ("title", "message"),
    [
        (b'title = "Village \xff hall"', "rig.toml:1: this is not UTF-8 text; save it from the editor as UTF-8"),
        (TITLE.encode("utf-16"), "rig.toml:1: this is not UTF-8 text; save it from the editor as UTF-8"),
        (
            b"title = " + b"[" * 3000 + b"]" * 3000,
            "rig.toml: lists or tables lie too deep inside each other; nothing here needs more than 8",
        ),
        (
            b"title = " + b"9" * 5000,
            "rig.toml: there is a number of thousands of digits; no value here needs more than 8",
        ),
        (b"title = 0x" + b"f" * 5000, "rig.toml:1: title: so large a number is a number; text is wanted"),
        (b"a" + b".a" * 40 + b" = 1", "rig.toml:1: a key has too many dots; no key here needs more than 4"),
        (
            b'title = "a\0b"',
            "rig.toml:1: there is a character that a text file may not hold; delete it and type the line anew",
        ),
    ],
)
def test_odd_bytes(title: bytes, message: str, tmp_path: Path) -> None:
    spoilt = GIG["rig.toml"].encode().replace(TITLE.encode(), title)
    assert said(load(write(tmp_path, {"rig.toml": spoilt}))[1]) == [message]


def test_control_characters_of_a_file_never_reach_the_terminal(tmp_path: Path) -> None:
    spoilt = GIG["rig.toml"].replace('"par 2"', r'"\u001b[2J\u009b"') + "\n\x1b]0;x\x07 = 1"
    for text in (spoilt, spoilt.partition("\n\x1b")[0]):
        _, problems = load(write(tmp_path, {"rig.toml": text}))
        assert problems
        assert all((str(problem) + problem.quote).isprintable() for problem in problems)


def test_an_output_that_does_not_load_is_told_in_its_own_words(tmp_path: Path) -> None:
    (problem,) = load(write(tmp_path, {"rig.toml": GIG["rig.toml"].replace('"null"', '"broken"')}))[1]
    assert problem.message == 'the output "broken" cannot be used: its driver is not installed'


def test_only_the_profiles_that_the_rig_needs_are_read(tmp_path: Path) -> None:
    write(tmp_path, {"profiles/unused.toml": "= broken"})
    assert load(tmp_path)[1] == []


@quick
@given(st.sampled_from(list(GIG)), st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_any_bytes_at_all_raise_nothing(tmp_path: Path, file: str, data: bytes) -> None:
    gig, problems = load(write(tmp_path, {file: data}))
    assert is_consistent(gig, problems)


@quick
@given(
    st.sampled_from(list(GIG)), st.integers(0, 2**16), st.characters(codec="utf-8") | st.sampled_from('"[]{}=.,#\n0')
)
def test_any_character_in_place_of_another_raises_nothing(tmp_path: Path, file: str, at: int, char: str) -> None:
    at %= len(GIG[file])
    gig, problems = load(write(tmp_path, {file: GIG[file][:at] + char + GIG[file][at + 1 :]}))
    assert is_consistent(gig, problems)


@quick
@given(
    st.sampled_from(DEMO_FILES),
    st.integers(0, 2**16),
    st.sampled_from(["replace", "insert", "delete"]),
    st.characters(codec="utf-8") | st.sampled_from('"[]{}=.,#\n0-x '),
)
def test_a_character_of_the_demo_damaged_raises_nothing(
    tmp_path: Path, file: Path, at: int, how: str, char: str
) -> None:
    for path in DEMO_FILES:
        (tmp_path / path.name).write_bytes(path.read_bytes())
    text = file.read_text("utf-8")
    at %= len(text)
    before, after = text[:at], text[at + (how != "insert") :]
    (tmp_path / file.name).write_bytes((before + ("" if how == "delete" else char) + after).encode())
    for rig in ("rig.toml", "rink.toml"):
        gig, problems = load(tmp_path, rig)
        assert is_consistent(gig, problems)


def test_the_order_of_problems_is_that_of_the_files(tmp_path: Path) -> None:
    spoilt = GIG["rig.toml"].replace("address = 1\n", "address = 0\n").replace('title = "Vil', 'titel = "Vil')
    _, problems = load(write(tmp_path, {"rig.toml": spoilt, "show.toml": GIG["show.toml"].replace("tap", "tab")}))
    assert [(problem.file, problem.line) for problem in problems] == [
        ("rig.toml", 1),
        ("rig.toml", 9),
        ("show.toml", 29),
    ]


def test_names_of_outputs_are_optional(tmp_path: Path) -> None:
    write(tmp_path, {"rig.toml": GIG["rig.toml"].replace('"null"', '"nul"')})
    _, problems = load_gig(tmp_path, output_settings=OUTPUTS.get, input_settings=INPUTS.get)
    assert said(problems) == ['rig.toml:4: outputs[1].by: there is no output "nul"']
