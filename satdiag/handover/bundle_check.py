"""Has a bundle reached its reader as it was made? Every file against the hashes of its manifest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from satdiag.errors import bad_input
from satdiag.handover.archive import Member, read_archive
from satdiag.handover.manifest import JSON_NAME, TEXT_NAME, Listed, parse_list, parse_manifest


@dataclass(frozen=True)
class Checked:
    """What was found: the job and its hash, how many files, and by name what is wrong with each (empty: nothing)."""

    job: str
    job_sha256: str
    files: int
    wrong: Mapping[str, str]


def check_bundle(place: Path) -> Checked:
    """Compare a bundle with its manifest. Raises BadInput for what is no bundle or unsafe to read, SatdiagError."""
    members, texts = read_archive(place, (JSON_NAME, TEXT_NAME))
    if JSON_NAME not in texts:
        raise bad_input(place.name, f"{JSON_NAME} is missing", "It is no bundle of `satdiag bundle`.")
    document, listed = parse_manifest(texts[JSON_NAME], f"{place.name}/{JSON_NAME}")
    wrong = dict(_differences(members, listed))
    if TEXT_NAME not in texts:
        wrong[TEXT_NAME] = "is missing"
    elif parse_list(texts[TEXT_NAME]) != _hashes(members, listed):
        wrong[TEXT_NAME] = f"lists other hashes than {JSON_NAME}"
    job, fingerprint = str(document.get("job", "")), str(document.get("job_sha256", ""))
    return Checked(job, fingerprint, len(listed), dict(sorted(wrong.items())))


def _differences(members: Mapping[str, Member], listed: Mapping[str, Listed]) -> list[tuple[str, str]]:
    found = []
    for name, one in listed.items():
        member = members.get(name)
        if member is None:
            found.append((name, "is missing"))
        elif (member.size, member.sha256) != (one.size, one.sha256):
            found.append((name, f"was changed ({one.size} bytes listed, {member.size} found)"))
    added = members.keys() - listed.keys() - {JSON_NAME, TEXT_NAME}
    return found + [(name, "was added: the manifest does not list it") for name in added]


def _hashes(members: Mapping[str, Member], listed: Mapping[str, Listed]) -> dict[str, str]:
    """What `MANIFEST.txt` should say: the hashes of the manifest, and that of the manifest itself."""
    return {**{name: one.sha256 for name, one in listed.items()}, JSON_NAME: members[JSON_NAME].sha256}
