"""An XLSX workbook as openpyxl reads it: which sheets it has, and what its cells share.

Only what says something about cells is unpacked; macros, links and pictures are never touched.
"""

from __future__ import annotations

import warnings
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import IO, Any, BinaryIO
from xml.etree.ElementTree import ParseError

from defusedxml import DefusedXmlException
from openpyxl.reader.excel import ExcelReader
from openpyxl.styles.stylesheet import apply_stylesheet
from openpyxl.xml.constants import ARC_CONTENT_TYPES

from brewbar.words import gettext as _
from calibration.importing.raw import Limits, Unreadable

_STRICT = "http://purl.oclc.org/ooxml/"
_MOST_WHOLE, _MOST_TEXTS = 10_000_000, 60_000_000

# it warns of what it leaves out: colours, charts, days that are none
warnings.filterwarnings("ignore", module=r"openpyxl\.")


@dataclass(frozen=True, slots=True)
class SheetName:
    """part: where the workbook keeps the sheet; hidden: whether its tab is."""

    name: str
    hidden: bool
    part: str


class Workbook:
    """sheets: those with cells, in the order of their tabs; has_macros: they are never run."""

    def __init__(self, file: BinaryIO, limits: Limits) -> None:
        with refused_in_words():
            self._parts = _Parts(file)
            self._reader = ExcelReader(file, data_only=True, keep_links=False)
        if sum(one.file_size for one in self._parts.infolist()) > limits.unpacked:
            said = _(
                "Unpacked, this workbook is larger than %(most)d MB. Copy the rows alone into a new one."
            )
            raise Unreadable(said % {"most": limits.unpacked // 1_000_000})
        if any(one.flag_bits & 1 for one in self._parts.infolist()):
            raise Unreadable(LOCKED())
        self._reader.archive, self._limits = self._parts, limits
        names = set(self._parts.namelist())
        self.has_macros = any(name.endswith("vbaProject.bin") for name in names)
        with refused_in_words():
            self._read_main(names)
            self.sheets = tuple(
                SheetName(sheet.name, sheet.state != "visible", related.target)
                for sheet, related in self._reader.parser.find_sheets()
                if related.Type.endswith("/worksheet") and related.target in names
            )
        if not self.sheets:
            raise Unreadable(_("This workbook has no sheet with cells."))

    @contextmanager
    def opened(self, sheet: SheetName) -> Iterator[tuple[IO[bytes], list[str], Any]]:
        """A sheet as it is packed, the texts that cells share, and an empty sheet that knows the styles."""
        self._parts.most = _MOST_TEXTS
        self._reader.read_strings()
        self._parts.most = self._limits.unpacked
        with self._parts.open(sheet.part) as packed:
            yield packed, self._reader.shared_strings, self._reader.wb.create_sheet()

    def _read_main(self, names: set[str]) -> None:
        if ARC_CONTENT_TYPES not in names:
            raise Unreadable(_other_kind(names))
        self._reader.read_manifest()
        try:
            self._reader.read_workbook()
        except OSError:
            raise Unreadable(_other_kind(names)) from None
        if any(one.Type.startswith(_STRICT) for one in self._reader.parser.rels.values()):
            raise Unreadable(
                _("This is a Strict Open XML workbook. Save it as an ordinary workbook (.xlsx).")
            )
        apply_stylesheet(self._parts, self._reader.wb)


class _Parts(zipfile.ZipFile):
    """most: bytes of a part that openpyxl may ask for next; all but sheets it holds whole."""

    most = _MOST_WHOLE

    def open(self, name: str | zipfile.ZipInfo, *args: Any, **options: Any) -> IO[bytes]:
        part = self.getinfo(name) if isinstance(name, str) else name
        if part.file_size > self.most:
            raise Unreadable(_("There is too much text in this workbook to be read."))
        return super().open(part, *args, **options)


def LOCKED() -> str:
    return _("The file is protected with a password. Save a copy without one, and bring that in.")


def _other_kind(names: set[str]) -> str:
    if any(name.endswith("workbook.bin") for name in names):
        return _("This is a binary workbook (.xlsb). Save it as a workbook (.xlsx) or as CSV.")
    if "content.xml" in names or "mimetype" in names:
        return _("This is an OpenDocument file. Save it as a workbook (.xlsx) or as CSV.")
    return _("This archive isn't a workbook. Choose the spreadsheet itself, as XLSX or CSV.")


@contextmanager
def refused_in_words() -> Iterator[None]:
    """A file that is damaged or made to mislead is refused in words."""
    try:
        yield
    except Unreadable:
        raise
    except DefusedXmlException as error:
        said = _("This workbook declares a document type, which none needs. Save the sheet anew.")
        raise Unreadable(said) from error
    except (
        zipfile.BadZipFile,
        zlib.error,
        ParseError,
        EOFError,
        LookupError,
        ValueError,
        TypeError,
        AttributeError,
        NotImplementedError,
        RuntimeError,
    ) as error:
        said = _("This workbook is damaged and cannot be read. Open it in the spreadsheet and save it anew.")
        raise Unreadable(said) from error
