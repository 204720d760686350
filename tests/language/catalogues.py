"""Reads .po files and writes .mo files, so that the tests need no GNU gettext (its manual, "The Format of GNU MO
Files", has the format).
"""

from __future__ import annotations

import ast
import re
import struct
from pathlib import Path

Entry = tuple[str, str, str]
"""Context, message, plural; empty where there is none."""
_TEXT = re.compile(r'^(msgctxt|msgid_plural|msgid|msgstr(?:\[\d\])?) "|^"')
CONTEXT_ENDS = "\x04"


def entries_in(po: Path) -> list[Entry]:
    """Every message of a catalogue but its header."""
    found = []
    for block in po.read_text("utf-8").split("\n\n"):
        said: dict[str, str] = {}
        key = ""
        for line in block.splitlines():
            if not _TEXT.match(line):
                continue
            if not line.startswith('"'):
                key, _space, line = line.partition(" ")
            said[key] = said.get(key, "") + ast.literal_eval(line)
        if said.get("msgid"):
            found.append((said.get("msgctxt", ""), said["msgid"], said.get("msgid_plural", "")))
    return found


def write_mo(path: Path, translations: dict[Entry, str]) -> None:
    """A compiled catalogue in which each message has one translation, for every number."""
    texts = {"": "Content-Type: text/plain; charset=UTF-8\nPlural-Forms: nplurals=1; plural=0;\n"}
    for (context, message, plural), said in translations.items():
        key = f"{context}{CONTEXT_ENDS}{message}" if context else message
        texts[f"{key}\0{plural}" if plural else key] = said
    keys = sorted(texts, key=str.encode)
    at = 28 + 16 * len(keys)
    tables, data = [b"", b""], b""
    for which, words in enumerate((keys, [texts[key] for key in keys])):
        for word in words:
            coded = word.encode()
            tables[which] += struct.pack("<II", len(coded), at + len(data))
            data += coded + b"\0"
    head = struct.pack("<7I", 0x950412DE, 0, len(keys), 28, 28 + 8 * len(keys), 0, 0)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(head + tables[0] + tables[1] + data)
