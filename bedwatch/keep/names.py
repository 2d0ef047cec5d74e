"""Names that people give to what is kept: fit for a file on every system, and told when they are not."""

from __future__ import annotations

import unicodedata

from bedwatch.errors import UserError

LONGEST = 60
_ALLOWED_MARKS = " -_.,()+"
# Reserved on Windows, also with an ending (Microsoft Learn, "Naming Files, Paths, and Namespaces").
_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


def checked_name(text: str, option: str = "name") -> str:
    """The name in composed letters (Unicode NFC).

    Letters, digits and ` -_.,()+`, 1 to 60 of them, first and last a letter, digit or bracket. Raises UserError with one
    line otherwise, beginning with `option`.
    """
    name = unicodedata.normalize("NFC", text)
    shown = "".join(c if c.isprintable() else "?" for c in name[:LONGEST])
    expected = f'1 to {LONGEST} letters, digits, spaces or {_ALLOWED_MARKS.strip()}, such as "grey epoxy, winter"'
    odd = sorted({c for c in name if not (c.isalnum() or c in _ALLOWED_MARKS or unicodedata.category(c) == "Mn")})
    if not 0 < len(name) <= LONGEST:
        found = "an empty name" if not name else f"{len(name)} letters"
        raise UserError(f"{option}: found {found}, expected {expected}")
    if odd:
        marks = " ".join(c if c.isprintable() and not c.isspace() else f"U+{ord(c):04X}" for c in odd[:5])
        raise UserError(f'{option}: found "{shown}" with {marks}, expected {expected}')
    if name[0] in " .-,+_)" or name[-1] in " .-,_(":
        raise UserError(f'{option}: found "{shown}", expected a letter or a digit at both ends')
    if name.partition(".")[0].strip().casefold() in _RESERVED:
        raise UserError(f'{option}: found "{shown}", which Windows keeps for itself, expected another name')
    if name.casefold().endswith((".setting", ".toml")):
        raise UserError(f'{option}: found "{shown}", expected the name alone, without .setting.toml')
    return name


def same_name(one: str, other: str) -> bool:
    """Whether two names could be one file where large and small letters, or accents, are not told apart."""
    return _folded(one) == _folded(other)


def _folded(name: str) -> str:
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


__all__ = ["LONGEST", "checked_name", "same_name"]
