"""Keys added to TOML files: the same file but for them, in every form a table can have."""

import tomllib
from pathlib import Path as FilePath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.files.edits import EditError, add_keys, with_keys, with_values
from lanternist.files.positions import Path

FORMS = [
    ('[[f]]\nname = "a"\nmode = 8 # remark\n\n# end', '[[f]]\nname = "a"\nmode = 8 # remark\nx = 1\n\n# end'),
    ("[[f]]\n  mode = 8", "[[f]]\n  mode = 8\n  x = 1"),
    ("[[f]]\r\nmode = 8\r\n", "[[f]]\r\nmode = 8\r\nx = 1\r\n"),
    ('f = [\n  { name = "a", mode = 8 },\n]\n', 'f = [\n  { name = "a", x = 1, mode = 8 },\n]\n'),
    ("f = [{mode=8}]", "f = [{x = 1, mode=8}]"),
    ("[[f]]\n\tmode = '#'#\n[[f]]\nmode = 9\n", "[[f]]\n\tmode = '#'#\n\tx = 1\n[[f]]\nmode = 9\n"),
]


@pytest.mark.parametrize(("text", "wanted"), FORMS)
def test_a_key_is_added_and_nothing_else_is_changed(text: str, wanted: str) -> None:
    assert with_keys(text, {("f", 0): {"x": "1"}}, after="mode") == wanted


SET = [
    ("[[f]]\nmode = 8\nat = [ 1.0, # x\n 2.0 ]  # here\n", "[[f]]\nmode = 8\ny = 1\nat = [3]  # here\n"),
    ("[[f]]\r\nat = 'x, }'\r\nmode = 8\r\n", "[[f]]\r\nat = [3]\r\nmode = 8\r\ny = 1\r\n"),
    ("f = [{ y=0, at = {a=[1]} , mode = 8 }]", "f = [{ y=1, at = [3] , mode = 8 }]"),
    ('[[f]]\nmode = 8\n"at" = 1 # [2]\n[[f]]\nmode = 9\nat = 5',
     '[[f]]\nmode = 8\ny = 1\n"at" = [3] # [2]\n[[f]]\nmode = 9\nat = 5'),
]  # fmt: skip


@pytest.mark.parametrize(("text", "wanted"), SET)
def test_a_key_gets_its_value_where_it_stands_or_is_added(text: str, wanted: str) -> None:
    assert with_values(text, {("f", 0): {"at": "[3]", "y": "1"}}, after="mode") == wanted


def test_a_table_with_a_header_of_its_own_is_left_alone() -> None:
    with pytest.raises(EditError):
        with_values("[[f]]\nmode = 8\n[f.at]\na = 1\n", {("f", 0): {"at": "[3]"}}, after="mode")


@pytest.mark.parametrize("text", ['[[f]]\nmode = """\n8"""\n', "[[f]]\nmode = [1,\n2]\n", "[[f]]\nmode = 8\nx = 2\n"])
def test_what_cannot_be_done_safely_is_refused(text: str) -> None:
    with pytest.raises(EditError):
        with_keys(text, {("f", 0): {"x": "1"}}, after="mode")


@given(st.lists(st.tuples(st.booleans(), st.sampled_from(["", "\t", "   "]), st.booleans()), min_size=1, max_size=6))
def test_many_tables_at_once(tables: list[tuple[bool, str, bool]]) -> None:
    text = "# head\n" + "".join(
        f"{indent}[[f]]{indent}# {n}\n{indent}mode = {n}{indent}\n{'# gap' if remark else ''}\n"
        for n, (_, indent, remark) in enumerate(tables)
    )
    added: dict[Path, dict[str, str]] = {
        ("f", n): {"y": f'"{n}"', "x": str(n)} for n, (wanted, _, _) in enumerate(tables) if wanted
    }
    changed = with_keys(text, added, after="mode")
    for n, table in enumerate(tomllib.loads(changed)["f"]):
        assert table == {"mode": n} | ({"x": n, "y": str(n)} if ("f", n) in added else {})
    kept = [line for line in changed.split("\n") if line.strip()[:1] not in ("x", "y")]
    assert kept == text.split("\n")


def test_a_file_keeps_its_byte_order_mark_its_mode_and_its_link(tmp_path: FilePath) -> None:
    real, link = tmp_path / "real.toml", tmp_path / "rig.toml"
    real.write_bytes(b"\xef\xbb\xbf[[f]]\r\nmode = 8\r\n")
    real.chmod(0o640)
    link.symlink_to(real)
    add_keys(link, {("f", 0): {"x": "1"}}, after="mode")
    assert real.read_bytes() == b"\xef\xbb\xbf[[f]]\r\nmode = 8\r\nx = 1\r\n"
    assert link.is_symlink()
    assert real.stat().st_mode & 0o777 == 0o640
    assert sorted(one.name for one in tmp_path.iterdir()) == ["real.toml", "rig.toml"]


def test_a_file_that_cannot_be_changed_is_left_alone(tmp_path: FilePath) -> None:
    file = tmp_path / "rig.toml"
    file.write_text('[[f]]\nmode = """\n8"""\n')
    with pytest.raises(EditError):
        add_keys(file, {("f", 0): {"x": "1"}}, after="mode")
    assert file.read_text() == '[[f]]\nmode = """\n8"""\n'
    assert [one.name for one in tmp_path.iterdir()] == ["rig.toml"]
