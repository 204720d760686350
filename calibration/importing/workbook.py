"""An XLSX workbook (ECMA-376, ISO/IEC 29500-1): which sheets it has, its texts, and how it shows its numbers.

Only what says something about cells is unpacked; macros, links and pictures are never touched.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import BinaryIO
from xml.parsers import expat

from brewbar.words import gettext as _
from calibration.importing.raw import Limits, Unreadable
from calibration.importing.serials import Shown, built_in, shown_by

_MAIN = (
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main",
    "http://purl.oclc.org/ooxml/spreadsheetml/main",
)
_RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
_IDS = (
    "http://schemas.openxmlformats.org/officeDocument/2006/relationships id",
    "http://purl.oclc.org/ooxml/officeDocument/relationships id",
)
_CHUNK = 1 << 17
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
_MOST_TEXTS = 100_000_000

Attributes = dict[str, str]
Begin = Callable[[str, Attributes], None]
Text = Callable[[str], None]
End = Callable[[str], None]


def in_main(*names: str) -> dict[str, str]:
    """The full names under which a part's elements arrive -> their short ones."""
    return {f"{space} {name}": name for space in _MAIN for name in names}


@dataclass(frozen=True, slots=True)
class SheetName:
    """part: where the workbook keeps the sheet; hidden: whether its tab is."""

    name: str
    hidden: bool
    part: str


class Workbook:
    """sheets: those with cells, in the order of their tabs; texts: shared among cells; shown: how the cell styles
    show a number, by their number; from_1904: whether days are counted from 1904; has_macros: they are never run."""

    def __init__(self, file: BinaryIO, limits: Limits) -> None:
        self._limits = limits
        with refused_in_words():
            self._zip = zipfile.ZipFile(file)
        parts = {one.filename for one in self._zip.infolist()}
        if sum(one.file_size for one in self._zip.infolist()) > limits.unpacked:
            said = _(
                "Unpacked, this workbook is larger than %(most)d MB. Copy the rows alone into a new one."
            )
            raise Unreadable(said % {"most": limits.unpacked // 1_000_000})
        if any(one.flag_bits & 1 for one in self._zip.infolist()):
            raise Unreadable(LOCKED())
        main, relations = self._main_part(parts)
        self.has_macros = any(name.endswith("vbaProject.bin") for name in parts)
        self.from_1904 = False
        self.sheets: tuple[SheetName, ...] = ()
        self._read_main(main, relations)
        if not self.sheets:
            raise Unreadable(_("This workbook has no sheet with cells."))
        by_kind = {kind: target for _id, (kind, target) in relations.items()}
        self.texts: list[str] = _texts(self, by_kind.get("sharedStrings", ""))
        self.shown: list[Shown] = _styles(self, by_kind.get("styles", ""))

    def chunks(self, part: str) -> Iterator[bytes]:
        with refused_in_words(), self._zip.open(part) as stream:
            while chunk := stream.read(_CHUNK):
                yield chunk

    @staticmethod
    def parser(namespaces: bool = True) -> expat.XMLParserType:
        parser = expat.ParserCreate(namespace_separator=" " if namespaces else None)
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = _no_doctype
        return parser

    def parse(self, part: str, begin: Begin, text: Text | None = None, end: End | None = None) -> None:
        parser = self.parser()
        parser.StartElementHandler, parser.CharacterDataHandler, parser.EndElementHandler = begin, text, end
        for _breath in self.parsing(part, parser):
            pass

    def parsing(self, part: str, parser: expat.XMLParserType) -> Iterator[None]:
        """Stops for breath after each piece."""
        with refused_in_words():
            for chunk in self.chunks(part):
                parser.Parse(chunk, False)
                yield
            parser.Parse(b"", True)

    def _main_part(self, parts: set[str]) -> tuple[str, dict[str, tuple[str, str]]]:
        start = self._relations("", parts)
        main = next((target for kind, target in start.values() if kind == "officeDocument"), "")
        if main not in parts or not main.endswith(".xml"):
            raise Unreadable(_other_kind(parts))
        return main, self._relations(main, parts)

    def _relations(self, part: str, parts: set[str]) -> dict[str, tuple[str, str]]:
        """Id -> the kind of a part, and where it is."""
        folder, name = posixpath.split(part)
        found: dict[str, tuple[str, str]] = {}

        def begin(tag: str, attributes: Attributes) -> None:
            if tag == f"{_RELATIONS} Relationship" and attributes.get("TargetMode") != "External":
                target = posixpath.normpath(posixpath.join("/", folder, attributes["Target"])).lstrip("/")
                if target in parts:
                    found[attributes["Id"]] = (attributes["Type"].rpartition("/")[2], target)

        where = posixpath.join(folder, "_rels", f"{name}.rels")
        if where in parts:
            self.parse(where, begin)
        return found

    def _read_main(self, main: str, relations: dict[str, tuple[str, str]]) -> None:
        tags = in_main("sheet", "workbookPr")
        sheets: list[SheetName] = []

        def begin(tag: str, attributes: Attributes) -> None:
            match tags.get(tag):
                case "workbookPr":
                    self.from_1904 = attributes.get("date1904") in ("1", "true")
                case "sheet":
                    its_id = next((attributes[name] for name in _IDS if name in attributes), "")
                    kind, part = relations.get(its_id, ("", ""))
                    if kind == "worksheet":
                        hidden = attributes.get("state", "visible") != "visible"
                        sheets.append(SheetName(attributes.get("name", ""), hidden, part))

        self.parse(main, begin)
        self.sheets = tuple(sheets)


def unescaped(text: str) -> str:
    """ST_Xstring, ECMA-376 part 1, 22.9.2.19: _x000A_ is a line break."""
    if "_x" not in text:
        return text
    return _ESCAPED.sub(lambda match: chr(int(match[1], 16)), text)


def LOCKED() -> str:
    return _("The file is protected with a password. Save a copy without one, and bring that in.")


def _other_kind(parts: set[str]) -> str:
    if any(name.endswith("workbook.bin") for name in parts):
        return _("This is a binary workbook (.xlsb). Save it as an Excel workbook (.xlsx) or as CSV.")
    if "content.xml" in parts or "mimetype" in parts:
        return _("This is an OpenDocument file. Save it as an Excel workbook (.xlsx) or as CSV.")
    return _("This archive isn't a workbook. Choose the spreadsheet itself, as XLSX or CSV.")


def _texts(book: Workbook, part: str) -> list[str]:
    """Without the phonetic hints that may stand beside a text."""
    tags = in_main("si", "t", "rPh")
    texts: list[str] = []
    pieces: list[str] = []
    size, open_text, in_hint = 0, False, False

    def begin(tag: str, _attributes: Attributes) -> None:
        nonlocal open_text, in_hint
        match tags.get(tag):
            case "si":
                pieces.clear()
            case "t":
                open_text = not in_hint
            case "rPh":
                in_hint = True

    def text(data: str) -> None:
        if open_text:
            pieces.append(data)

    def end(tag: str) -> None:
        nonlocal open_text, in_hint, size
        match tags.get(tag):
            case "si":
                whole = unescaped("".join(pieces))
                size += len(whole) + 50
                if size > _MOST_TEXTS:
                    raise Unreadable(_("There is too much text in this workbook to be read."))
                texts.append(whole)
            case "t":
                open_text = False
            case "rPh":
                in_hint = False

    if part:
        book.parse(part, begin, text, end)
    return texts


def _styles(book: Workbook, part: str) -> list[Shown]:
    tags = in_main("numFmt", "cellXfs", "xf")
    own: dict[str, Shown] = {}
    found: list[Shown] = []
    in_cells = False

    def begin(tag: str, attributes: Attributes) -> None:
        nonlocal in_cells
        match tags.get(tag):
            case "numFmt":
                own[attributes["numFmtId"]] = shown_by(attributes.get("formatCode", ""))
            case "cellXfs":
                in_cells = True
            case "xf" if in_cells:
                number = attributes.get("numFmtId", "0")
                found.append(own.get(number) or built_in(int(number)))

    def end(tag: str) -> None:
        nonlocal in_cells
        if tags.get(tag) == "cellXfs":
            in_cells = False

    if part:
        book.parse(part, begin, None, end)
    return found


def _no_doctype(*_declared: object) -> None:
    raise Unreadable(_("This workbook declares a document type, which none needs. Save the sheet anew."))


@contextmanager
def refused_in_words() -> Iterator[None]:
    """A file that is damaged or made to mislead is refused in words."""
    try:
        yield
    except (
        zipfile.BadZipFile,
        zlib.error,
        expat.ExpatError,
        EOFError,
        LookupError,
        ValueError,
        NotImplementedError,
        RuntimeError,
    ) as error:
        if isinstance(error, Unreadable):
            raise
        said = _("This workbook is damaged and cannot be read. Open it in the spreadsheet and save it anew.")
        raise Unreadable(said) from error
