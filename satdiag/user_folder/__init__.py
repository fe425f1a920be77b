"""The user's own folder: profiles, line-ups, constellations, receivers' normal values and learned counts.

One place per system, which commands look into where a name is given. A job never needs it: what a job uses is copied
into the job, and the analysis reads the job alone. A zip file carries it to another computer.
"""

from satdiag.user_folder.changes import Carried, add, export_to, import_from, keep, remove
from satdiag.user_folder.contents import Check, Checks, check_all, check_entry, parse_learned, parse_receiver_values
from satdiag.user_folder.places import (
    ENVIRONMENT,
    KINDS,
    UNWRITTEN,
    Entry,
    default_folder,
    entries,
    find,
    folder_of,
    names_of,
    strangers,
    unwritten,
    user_folder,
)

__all__ = [
    "ENVIRONMENT",
    "KINDS",
    "UNWRITTEN",
    "Carried",
    "Check",
    "Checks",
    "Entry",
    "add",
    "check_all",
    "check_entry",
    "default_folder",
    "entries",
    "export_to",
    "find",
    "folder_of",
    "import_from",
    "keep",
    "names_of",
    "parse_learned",
    "parse_receiver_values",
    "remove",
    "strangers",
    "unwritten",
    "user_folder",
]
