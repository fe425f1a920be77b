"""Foreign CSV logs: a map says which column is what, and every line becomes observations or a clear refusal."""

from satdiag.mapping.convert import Made, check_made, convert
from satdiag.mapping.map_file import Map, parse_map

__all__ = ["Made", "Map", "check_made", "convert", "parse_map"]
