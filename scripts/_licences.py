"""The licence of an installed package or of a wheel, from its metadata, in the short names of SPDX (https://spdx.org/licenses/)."""

import re

_FIRST_LINES = (
    ("mit license", "MIT"),
    ("the mit license", "MIT"),
    ("bsd 3-clause", "BSD-3-Clause"),
    ("bsd-3-clause", "BSD-3-Clause"),
    ("apache license, version 2.0", "Apache-2.0"),
    ("apache 2.0", "Apache-2.0"),
    ("psfl", "PSF-2.0"),
)
_CLASSIFIERS = {
    "MIT License": "MIT",
    "BSD License": "BSD (clauses in its own file)",
    "Apache Software License": "Apache-2.0",
    "Python Software Foundation License": "PSF-2.0",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "GNU Lesser General Public License v3 or later (LGPLv3+)": "LGPL-3.0-or-later",
    "ISC License (ISCL)": "ISC",
}
_EXPRESSION = re.compile(r"[\w.+-]+( (AND|OR|WITH) [\w.+-]+|[()])*")
PERMISSIVE = {
    "0BSD",
    "Apache-2.0",
    "BSD",
    "BSD (clauses in its own file)",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "CNRI-Python",
    "ISC",
    "MIT",
    "MIT-0",
    "MIT-CMU",
    "PSF-2.0",
    "Python-2.0",
    "Unlicense",
    "Zlib",
}
"""Licences that ask for little more than that their text is kept. ('BSD' is what some packages call their own.)"""
BY_FILE = {"MPL-1.1", "MPL-2.0"}
"""Licences whose terms end at the package's own files, which satdiag uses unchanged."""


def licence_of(about):
    """The licence of a package, from its metadata (an `email.message.Message`), or 'unknown'.

    `License-Expression` has the first word (PEP 639), then a short `License`, then the classifiers.
    """
    if expression := about.get("License-Expression"):
        return expression.strip()
    written = (about.get("License") or "").strip().partition("\n")[0].strip()
    written = "" if written == "UNKNOWN" else written  # what older build tools write where nothing was said
    for begin, name in _FIRST_LINES:
        if written.lower().startswith(begin):
            return name
    filed = [line.rpartition(" :: ")[2] for line in about.get_all("Classifier", []) if line.startswith("License ::")]
    if 0 < len(written) <= 40 and _EXPRESSION.fullmatch(written) and "license" not in written.lower():
        return written
    names = sorted({_CLASSIFIERS[line] for line in filed if line in _CLASSIFIERS})
    return " AND ".join(names) if names else "unknown"


def is_allowed(licence):
    """True if every part that binds is permissive or binds by file; of `A OR B` one is enough."""
    if licence in PERMISSIVE | BY_FILE:
        return True
    alternatives = re.split(r" OR ", licence.replace("(", "").replace(")", ""))
    return any(all(part in PERMISSIVE | BY_FILE for part in each.split(" AND ")) for each in alternatives)
