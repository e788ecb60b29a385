"""Opening a GDTF file (DIN SPEC 15800) that comes from anybody: what could do harm is refused before it is read.

A GDTF file is a ZIP archive. Of what is in it only `description.xml` is ever unpacked, and only in memory.
"""

import re
from io import BytesIO
from pathlib import Path
from stat import S_ISREG
from typing import Any, BinaryIO
from xml.etree.ElementTree import Element, fromstring
from xml.parsers.expat import ExpatError, ParserCreate
from zipfile import BadZipFile, ZipFile, ZipInfo

DESCRIPTION = "description.xml"
MOST_ARCHIVE = 256_000_000  # bytes; pictures and models of a large fixture stay well below
MOST_UNPACKED = 2_000_000_000
MOST_FILES = 20_000
MOST_XML = 24_000_000
MOST_DEPTH = 60
MOST_ELEMENTS = 300_000
MOST_CHANNELS = 512
MOST_BYTES = 4
MOST_COPIES = 200_000
MOST_MODES = 100
_SLOT = r" *(?:[1-9]\d?|[1-4]\d\d|50\d|51[0-2]) *"
_VALUE = re.compile(r"[^/]{0,30}(?:/[0-4]s?)?")  # a number, and in how many bytes
# How numbers read that a reader counts up to, or makes room for.
_RIGHT = {
    "Offset": re.compile(rf"(?:None)?|{_SLOT}(?:,{_SLOT}){{0,{MOST_BYTES - 1}}}"),
    "DMXBreak": re.compile(r"Overwrite|[1-9]\d?"),
    "DMXOffset": re.compile(rf"(?:\d{{1,3}}\.)?{_SLOT}"),
    **dict.fromkeys(("DMXFrom", "Default", "Highlight", "ModeFrom", "ModeTo"), _VALUE),
}
_ENCRYPTED = 1


class GdtfError(ValueError):
    """The file is not taken, and why, for a person."""


def description(path: Path) -> bytes:
    """The description of a GDTF file, as an archive in memory that holds nothing else.

    Raises GdtfError for whatever is no such file, or could harm whoever reads it. OSError where it cannot be read.
    """
    if not S_ISREG(path.stat().st_mode):
        raise GdtfError("this is no file")
    if path.stat().st_size > MOST_ARCHIVE:
        raise GdtfError(f"is larger than {MOST_ARCHIVE // 1_000_000} MB; no fixture needs that")
    xml = _unpacked(path).rstrip(b"\x00")
    _harmless(xml)
    tree = fromstring(xml)  # noqa: S314  # without a DTD there are no entities to expand
    if tree.tag != "GDTF" or tree.find("FixtureType") is None:
        raise GdtfError("its description is not that of a fixture type")
    _bounded(tree)
    return _repacked(xml)


def _unpacked(path: Path) -> bytes:
    with path.open("rb") as file:
        xml = _read(file)
    if len(xml) > MOST_XML:
        raise GdtfError(f"its {DESCRIPTION} unpacks to more than {MOST_XML // 1_000_000} MB")
    return xml


def _read(file: BinaryIO) -> bytes:
    try:
        with ZipFile(file) as archive:
            found = archive.infolist()
            _harmless_names(found)
            with archive.open(_single(found)) as opened:
                return opened.read(MOST_XML + 1)
    except GdtfError:
        raise
    except Exception as error:  # zipfile and zlib raise many kinds for archives that are broken or made to break
        what = (
            "this is no ZIP archive, as a GDTF file is" if isinstance(error, BadZipFile) else "the archive is damaged"
        )
        raise GdtfError(what) from error


def _single(found: list[ZipInfo]) -> ZipInfo:
    inside = [one for one in found if one.filename == DESCRIPTION]
    if len(inside) != 1:
        count = "no" if not inside else "more than one"
        raise GdtfError(f"there is {count} {DESCRIPTION} in it, so this is no GDTF file")
    if inside[0].flag_bits & _ENCRYPTED:
        raise GdtfError("it is encrypted")
    return inside[0]


def _harmless_names(found: list[ZipInfo]) -> None:
    if len(found) > MOST_FILES:
        raise GdtfError(f"there are {len(found)} files in it; no fixture needs more than {MOST_FILES}")
    for one in found:
        parts = one.filename.replace("\\", "/").split("/")
        if ".." in parts or one.filename.startswith(("/", "\\")) or ":" in parts[0] or "\x00" in one.orig_filename:
            raise GdtfError("a file in it would unpack outside its folder")
    if sum(one.file_size for one in found) > MOST_UNPACKED:
        raise GdtfError(f"it unpacks to more than {MOST_UNPACKED // 1_000_000_000} GB")


def _harmless(xml: bytes) -> None:
    """Refuses what has a DTD, and so entities; what nests too deep; and what is no XML in UTF-8."""
    depth = elements = 0

    def doctype(*_: Any) -> None:
        raise GdtfError("its XML declares a document type or entities, which no GDTF file needs")

    def opens(*_: Any) -> None:
        nonlocal depth, elements
        depth, elements = depth + 1, elements + 1
        if depth > MOST_DEPTH or elements > MOST_ELEMENTS:
            raise GdtfError("its XML nests too deep, or has too many elements")

    def closes(_: str) -> None:
        nonlocal depth
        depth -= 1

    parser = ParserCreate()
    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = doctype
    parser.StartElementHandler, parser.EndElementHandler = opens, closes
    try:
        xml.decode("utf-8-sig")
        parser.Parse(xml, True)  # noqa: FBT003
    except UnicodeDecodeError as error:
        raise GdtfError("its XML is not UTF-8") from error
    except (ExpatError, ValueError, LookupError) as error:
        if isinstance(error, GdtfError):
            raise
        raise GdtfError(f"its XML cannot be read ({error})") from error


def _bounded(tree: Element) -> None:
    """Refuses numbers that would make a reader count for ever."""
    modes = tree.findall("FixtureType/DMXModes/DMXMode")
    if len(modes) > MOST_MODES:
        raise GdtfError(f"it has {len(modes)} modes")
    if any(len(mode.findall("DMXChannels/DMXChannel")) > MOST_CHANNELS for mode in modes):
        raise GdtfError(f"a mode has more than {MOST_CHANNELS} channels")
    copies = sum(1 for _ in tree.iter("GeometryReference")) * sum(1 for _ in tree.iter("DMXChannel"))
    if copies > MOST_COPIES:
        raise GdtfError("it has too many parts and channels to be looked through")
    for one in tree.iter():
        for key, value in one.items():
            if key in _RIGHT and not _RIGHT[key].fullmatch(value):
                raise GdtfError(f"a {one.tag} has the {key} {value[:30]!r}")


def _repacked(xml: bytes) -> bytes:
    packed = BytesIO()
    with ZipFile(packed, "w") as archive:
        archive.writestr(DESCRIPTION, xml)
    return packed.getvalue()
