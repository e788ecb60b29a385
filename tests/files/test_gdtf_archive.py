"""GDTF archives that are broken or made to do harm: refused in plain words, and nothing worse."""

import io
import random
import zipfile
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.gdtf_files import fixture_type, head, write

from lanternist.files.gdtf import import_gdtf
from lanternist.files.gdtf_archive import MOST_FILES, MOST_XML, GdtfError, description


@pytest.fixture(scope="module", name="xml")
def _xml(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = write(fixture_type({"m": head()}), tmp_path_factory.mktemp("gdtf") / "t.gdtf")
    with zipfile.ZipFile(path) as archive:
        return archive.read("description.xml")


def packed(path: Path, *files: tuple[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files:
            archive.writestr(name, data)
    return path


def refusal(path: Path) -> str:
    with pytest.raises(GdtfError) as caught:
        import_gdtf(path)
    return str(caught.value)


def test_the_right_file_is_taken(tmp_path: Path, xml: bytes) -> None:
    assert import_gdtf(packed(tmp_path / "t.gdtf", ("description.xml", xml), ("wheels/dots.png", b"x"))).text


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no ZIP archive"),
        (b"PK\x03\x04rubbish", "no ZIP archive"),
        (b"<GDTF/>", "no ZIP archive"),
    ],
)
def test_no_archive(tmp_path: Path, data: bytes, said: str) -> None:
    (tmp_path / "t.gdtf").write_bytes(data)
    assert said in refusal(tmp_path / "t.gdtf")


def test_no_description_or_two(tmp_path: Path, xml: bytes) -> None:
    assert "there is no description.xml" in refusal(packed(tmp_path / "a", ("x.xml", xml)))
    with pytest.warns(UserWarning, match="Duplicate"):
        two = packed(tmp_path / "b", ("description.xml", xml), ("description.xml", xml))
    assert "more than one" in refusal(two)


@pytest.mark.parametrize(
    "name", ["../evil", "a/../../evil", "/etc/passwd", "..\\evil", "\\evil", "C:\\evil", "c:/evil"]
)
def test_paths_that_escape_are_refused(tmp_path: Path, xml: bytes, name: str) -> None:
    assert "outside its folder" in refusal(packed(tmp_path / "t", ("description.xml", xml), (name, b"x")))


def test_bombs_are_refused_without_being_unpacked(tmp_path: Path, xml: bytes) -> None:
    assert "unpacks to more than 24 MB" in refusal(
        packed(tmp_path / "a", ("description.xml", b"<GDTF>" + b" " * (MOST_XML + 9) + b"</GDTF>"))
    )
    many = packed(tmp_path / "b", ("description.xml", xml), *((f"{n}", b"") for n in range(MOST_FILES)))
    assert "files in it" in refusal(many)
    lying = bytearray(packed(tmp_path / "c", ("description.xml", xml), ("big", b"x")).read_bytes())
    at = lying.rindex(b"PK\x01\x02")
    lying[at + 24 : at + 28] = b"\xfe\xff\xff\xff"  # 4 GB, as its entry in the directory says
    (tmp_path / "c").write_bytes(lying)
    assert "unpacks to more than 2 GB" in refusal(tmp_path / "c")


@pytest.mark.parametrize(
    "head_of_it",
    [
        '<!DOCTYPE GDTF [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>',
        '<!DOCTYPE GDTF [<!ENTITY a SYSTEM "file:///etc/passwd">]>',
        '<!DOCTYPE GDTF SYSTEM "http://127.0.0.1/x.dtd">',
        "<!DOCTYPE GDTF>",
    ],
)
def test_document_types_and_entities_are_refused(tmp_path: Path, xml: bytes, head_of_it: str) -> None:
    evil = xml.replace(b"<GDTF", head_of_it.encode() + b"<GDTF", 1)
    assert "document type or entities" in refusal(packed(tmp_path / "t", ("description.xml", evil)))


def test_xml_that_nests_without_end_or_is_none(tmp_path: Path) -> None:
    deep = b"<GDTF>" + b"<a>" * 5000 + b"</a>" * 5000 + b"</GDTF>"
    assert "nests too deep" in refusal(packed(tmp_path / "a", ("description.xml", deep)))
    assert "cannot be read" in refusal(packed(tmp_path / "b", ("description.xml", b"<GDTF><x></GDTF>")))
    assert "not UTF-8" in refusal(packed(tmp_path / "c", ("description.xml", "<GDTF ä='1'/>".encode("latin-1"))))
    assert "not that of a fixture type" in refusal(packed(tmp_path / "d", ("description.xml", b"<GDTF/>")))
    assert "cannot be read" in refusal(packed(tmp_path / "e", ("description.xml", b"")))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b'Offset="1,2"', b'Offset="1000000000"', "has the Offset"),
        (b'Offset="1,2"', b'Offset="1,2,3,4,5"', "has the Offset"),
        (b'Offset="1,2"', b'Offset="0"', "has the Offset"),
        (b'Offset="1,2"', b'Offset="-1"', "has the Offset"),
        (b'DMXBreak="1"', b'DMXBreak="99999999"', "has the DMXBreak"),
        (b'DMXFrom="0/2"', b'DMXFrom="0/900000000"', "has the DMXFrom"),
        (b'DMXFrom="0/2"', b'DMXFrom="0/9"', "has the DMXFrom"),
        (b'Geometry="Base" Name="m"', b'Geometry="Nowhere" Name="m"', ""),
        (b'RealFade="2.7', b'RealFade="x2.7', "breaks the standard"),
    ],
)
def test_numbers_that_break_a_reader(tmp_path: Path, xml: bytes, old: bytes, new: bytes, said: str) -> None:
    path = packed(tmp_path / "t", ("description.xml", xml.replace(old, new, 1)))
    if said:
        assert old in xml
        assert said in refusal(path)
    else:
        import_gdtf(path)


def test_parts_that_refer_to_each_other_end(tmp_path: Path, xml: bytes) -> None:
    loop = b'<GeometryReference Name="again" Geometry="Base" />'
    evil = xml.replace(b"</DMXModes>", b"</DMXModes>").replace(b'<Geometry Name="Base"', b'<Geometry Name="Base"')
    at = evil.index(b">", evil.index(b'Name="Base"')) + 1
    path = packed(tmp_path / "t", ("description.xml", evil[:at] + loop + evil[at:]))
    assert "refer to each other without end" in refusal(path)


@settings(max_examples=60)
@given(st.integers(0, 2**32 - 1))
def test_spoilt_files_are_taken_or_refused_and_nothing_else(
    xml: bytes, tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    """Bytes of the archive, or words of its XML, changed at random."""
    die = random.Random(seed)
    pieces = xml.split(b'"')
    for _ in range(die.randint(0, 4)):
        pieces[die.randrange(1, len(pieces), 2)] = die.choice(
            [
                b"",
                b"nan",
                b"-1",
                b"1e999",
                b"None",
                b"0/1",
                b"65535/2",
                b"Base",
                b"Beam",
                b"7",
                b"x",
                b"1.1",
                b"\xc3\xa4",
            ]
        )
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("description.xml", b'"'.join(pieces))
    spoilt = bytearray(data.getvalue())
    for _ in range(die.choice([0, 0, 1, 3])):
        spoilt[die.randrange(len(spoilt))] = die.randrange(256)
    path = tmp_path_factory.getbasetemp() / "spoilt.gdtf"
    path.write_bytes(spoilt)
    with suppress(GdtfError):
        assert import_gdtf(path).text


def test_no_file_at_all(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="No such file"):
        description(tmp_path / "none")
    assert "this is no file" in refusal(tmp_path)
