"""Places: taxa that a key names although they do not live in its region."""

from classifier.key.messages import Diagnostic, finding
from classifier.key.syntax import Extent, Key
from classifier.key.text import extent_text


def out_of_region(key: Key) -> list[Diagnostic]:
    """K408: declared taxa whose stated area lies outside the key's region."""
    if key.region is None:
        return []
    return [
        finding(
            "K408",
            f"`{taxon.name}` does not occur in the region of this key ({extent_text(key.region)})",
            _line(taxon),
            f"take it out (in a regional variant: without {taxon.name}), or correct its `occurs` or the key's `region`",
        )
        for taxon in key.taxa.values()
        if taxon.occurs is not None and not _meet(taxon.occurs, key.region)
    ]


def _line(taxon):
    return next(entry.span for entry in taxon.entries if getattr(entry, "extent", None) is not None)


def _meet(one: Extent, other: Extent) -> bool:
    """Whether two areas have a place in common. Touching counts; west > east runs over the date line."""
    if one.south > other.north or other.south > one.north:
        return False
    return any(west <= other_east and other_west <= east for west, east in _spans(one) for other_west, other_east in _spans(other))


def _spans(extent):
    if extent.west <= extent.east:
        # 180 east and 180 west are one meridian.
        return [
            (extent.west, extent.east),
            *([(-180, -180)] if extent.east == 180 else []),
            *([(180, 180)] if extent.west == -180 else []),
        ]
    return [(extent.west, 180), (-180, extent.east)]
