"""What people read, in their language: sentences by gettext catalogue, numbers and dates in each language's own form.

English stands in the code and is the catalogue's key. A sentence is written `tell("{n:.1f} dB too low", n=deficit)`
where it is made, so that whoever makes findings or pages inside `with speaking("es"):` has them in Spanish. Names of
the log, of files and of commands are never translated.
"""

from satdiag.language.catalogue import (
    LANGUAGES,
    Language,
    forms_of,
    mark,
    speaking,
    spoken,
    tell,
    tell_many,
    translated,
)
from satdiag.language.forms import (
    chance_text,
    clock_text,
    counted,
    date_text,
    in_figures,
    listed,
    moment_text,
    parted,
)

__all__ = [
    "LANGUAGES",
    "Language",
    "chance_text",
    "clock_text",
    "counted",
    "date_text",
    "forms_of",
    "in_figures",
    "listed",
    "mark",
    "moment_text",
    "parted",
    "speaking",
    "spoken",
    "tell",
    "tell_many",
    "translated",
]
