"""Wheels of a few bytes, made by the rules of https://packaging.python.org/specifications/binary-distribution-format/."""

import zipfile
from pathlib import Path

SCRIPTS = Path(__file__).resolve().parents[2] / "scripts"


def small_wheel(folder, name, version="1.0", requires=(), tag="py3-none-any", licence="License-Expression: MIT"):
    """Write one wheel that holds nothing but its metadata; returns its path."""
    path = folder / f"{name}-{version}-{tag}.whl"
    about = [f"Metadata-Version: 2.4\nName: {name}\nVersion: {version}\n{licence}"]
    about += [f"Requires-Dist: {each}" for each in requires]
    inside = f"{name}-{version}.dist-info"
    with zipfile.ZipFile(path, "w") as wheel:
        wheel.writestr(f"{inside}/METADATA", "\n".join(about) + "\n")
        wheel.writestr(f"{inside}/WHEEL", f"Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: {tag}\n")
        wheel.writestr(f"{inside}/RECORD", "")
    return path
