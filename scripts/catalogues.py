"""Look after the translations: `python scripts/catalogues.py` compiles them and says what is missing.

    python scripts/catalogues.py            compile catalogues/LANG/*.po to catalogues/LANG.mo; exit 1 if incomplete
    python scripts/catalogues.py --missing es [--in PART]   print what has no Spanish yet, as entries for a .po file

Needs Babel (extra `dev`). A part is the first folder or module under satdiag/ that says a text; its entries belong in
`satdiag/language/catalogues/LANG/PART.po`, but any file of the language will do.
"""

from __future__ import annotations

import argparse
import ast
import sys
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from string import Formatter

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from satdiag.live.page_words import all_script_texts, page_texts

ROOT = Path(__file__).resolve().parents[1]
SATDIAG = ROOT / "satdiag"
CATALOGUES = SATDIAG / "language" / "catalogues"
KEYWORDS = {"tell": None, "mark": None, "tell_many": (1, 2)}
ARGUMENTS = {"tell": 1, "mark": 1, "tell_many": 2}
TEMPLATES = [("**/templates/**.j2", "jinja2")]
PAGE = SATDIAG / "live" / "static" / "index.html"
SAID_IN_TOML = {SATDIAG / "diagnosis" / "faults.toml": ("action", "customer", "text", "say", "what", "can")}
LANGUAGES = ("es", "fr")
PLURAL_FORMS = {"es": "nplurals=2; plural=(n != 1);", "fr": "nplurals=2; plural=(n > 1);"}
"""As the heads of the .po files have them. Babel may count a third one, of millions, which nothing here says."""

Key = str | tuple[str, str]


def messages() -> dict[Key, set[str]]:
    """Every text marked for translation, with the parts that say it. Raises SystemExit for one that is no literal."""
    found: dict[Key, set[str]] = {}
    for path in sorted(SATDIAG.rglob("*.py")):
        part = path.relative_to(SATDIAG).parts[0].removesuffix(".py")
        for key in _in_python(path):
            found.setdefault(key, set()).add(part)
    for name, _, message, _, _ in extract_from_dir(SATDIAG, TEMPLATES, {}, KEYWORDS):
        key = message if isinstance(message, str) else (message[0], message[1])
        found.setdefault(key, set()).add(Path(name).parts[0])
    for path, keys in SAID_IN_TOML.items():
        for text in _texts(tomllib.loads(path.read_text("utf-8")), keys):
            found.setdefault(text, set()).add(path.parent.name)
    for said in (*page_texts(PAGE.read_text("utf-8")), *all_script_texts()):
        found.setdefault(said, set()).add("live")
    return found


def _in_python(path: Path) -> Iterator[Key]:
    """The texts of a module. By its syntax tree: a search by tokens misses what stands inside of f-strings."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "id", getattr(node.func, "attr", ""))
        if name not in KEYWORDS or (isinstance(node.func, ast.Attribute) and not _is_language(node.func.value)):
            continue
        texts = [one.value for one in node.args[: ARGUMENTS[name]] if isinstance(one, ast.Constant)]
        if len(texts) != ARGUMENTS[name]:
            sys.exit(f"{path}:{node.lineno}: {name}() wants its text as a plain literal")
        yield texts[0] if len(texts) == 1 else (texts[0], texts[1])


def _is_language(node: ast.expr) -> bool:
    return isinstance(node, ast.Name) and node.id == "language"


def _texts(value: object, keys: tuple[str, ...], said: bool = False) -> Iterator[str]:
    """The texts of a TOML document that stand under one of the keys, however deep."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _texts(inner, keys, said or key in keys)
    elif said and isinstance(value, str):
        yield value
    elif said and isinstance(value, list):
        for inner in value:
            yield from _texts(inner, keys, said)


def catalogue(language: str) -> tuple[Catalog, list[str]]:
    """All .po files of a language as one, and what is wrong with them."""
    whole, wrong = Catalog(locale=language, fuzzy=False), []
    whole.mime_headers = [("Plural-Forms", PLURAL_FORMS[language])]
    for path in sorted((CATALOGUES / language).glob("*.po")):
        with path.open("rb") as file:
            part = read_po(file, locale=language)
        if part.plural_forms != whole.plural_forms:
            wrong.append(f"{path.name}: its head has other plural forms: {part.plural_forms!r}")
        for entry in part:
            if not entry.id:
                continue
            before = whole.get(entry.id)
            if before is not None and before.string != entry.string:
                wrong.append(f"{path.name}: {entry.id!r} is translated otherwise in another file")
            wrong += _faults(path.name, entry)
            whole.add(entry.id, entry.string)
    return whole, wrong


def _faults(name: str, entry: Message) -> list[str]:
    ids = entry.id if isinstance(entry.id, (tuple, list)) else (entry.id,)
    strings = entry.string if isinstance(entry.string, (tuple, list)) else (entry.string,)
    if entry.fuzzy:
        return [f"{name}: {ids[0]!r} is marked fuzzy"]
    if not all(strings):
        return [f"{name}: {ids[0]!r} has no translation"]
    wanted = set().union(*(fields(text) for text in ids))
    least = wanted - {"n"} if len(ids) > 1 else wanted
    return [
        f"{name}: {ids[0]!r}: the translation has other values set in: {text!r}"
        for text in strings
        if not least <= fields(text) <= wanted
    ]


def fields(text: str) -> set[str]:
    """The values that a text sets in: names with their formats."""
    return {f"{name}:{form}" if form else name for _, name, form, _ in Formatter().parse(text) if name}


def compiled(whole: Catalog) -> bytes:
    """The catalogue as a .mo file; the same entries always give the same bytes."""
    buffer = BytesIO()
    steady = Catalog(locale=whole.locale, fuzzy=False, creation_date=_EPOCH, revision_date=_EPOCH)
    steady.mime_headers = [("Plural-Forms", whole.plural_forms)]
    for entry in sorted((one for one in whole if one.id), key=lambda one: str(one.id)):
        steady.add(entry.id, entry.string)
    write_mo(buffer, steady)
    return buffer.getvalue()


_EPOCH = datetime(2031, 1, 1, tzinfo=UTC)


def missing(whole: Catalog, wanted: dict[Key, set[str]]) -> list[Key]:
    """The marked texts that a catalogue does not hold."""
    return [key for key in wanted if whole.get(key) is None or not whole.get(key).string]


def unused(whole: Catalog, wanted: dict[Key, set[str]]) -> list[str]:
    """Entries for a text that nothing says any more."""
    ids = {key if isinstance(key, str) else key[0] for key in wanted}
    heads = (entry.id if isinstance(entry.id, str) else entry.id[0] for entry in whole if entry.id)
    return [head for head in heads if head not in ids]


def print_missing(language: str, part: str | None) -> None:
    """The texts without a translation as .po entries on standard output."""
    wanted = messages()
    lacking = Catalog(locale=language)
    for key in missing(catalogue(language)[0], wanted):
        if part is None or part in wanted[key]:
            lacking.add(key)
    write_po(sys.stdout.buffer, lacking, omit_header=True, width=0, no_location=True)


def main() -> int:
    """Compile all and report; see the module's text."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--missing", choices=LANGUAGES)
    parser.add_argument("--in", dest="part")
    asked = parser.parse_args()
    if asked.missing:
        print_missing(asked.missing, asked.part)
        return 0
    wanted, bad = messages(), 0
    for language in LANGUAGES:
        whole, wrong = catalogue(language)
        (CATALOGUES / f"{language}.mo").write_bytes(compiled(whole))
        wrong += [f"no translation of {key!r}" for key in missing(whole, wanted)]
        wrong += [f"nothing says {head!r} any more" for head in unused(whole, wanted)]
        print(f"{language}: {len(wanted)} texts, {len(wrong)} to mend", *wrong, sep="\n  ")
        bad += len(wrong)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
