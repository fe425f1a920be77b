"""What the kinds of a fault are called before people: the ways in which one fault can come."""

from __future__ import annotations

from satdiag.language import mark, translated

KINDS = {
    "anything": mark("anything else"),
    "at-times": mark("it comes and goes"),
    "constant": mark("the same all the time"),
    "decoder": mark("good level, broken sound"),
    "deaf": mark("receives nothing"),
    "deep": mark("much too weak"),
    "head-unit": mark("the head unit hangs"),
    "heard": mark("a repeater is heard"),
    "lenient": mark("the order is let pass"),
    "loose": mark("a loose contact"),
    "often": mark("it happens often"),
    "partly": mark("one path stays clear"),
    "rearranged": mark("channels were rearranged"),
    "resting": mark("not to be seen today"),
    "restarts": mark("restarts by itself"),
    "seldom": mark("it happens seldom"),
    "service": mark("the service is down"),
    "slight": mark("a little too weak"),
    "all": mark("nothing is received"),
    "some": mark("reception suffers in part"),
    "speakers": mark("the loudspeakers are silent"),
    "split": mark("the plugs make two rings"),
    "steady": mark("all the time"),
    "strict": mark("the order is insisted on"),
    "unheard": mark("no repeater is heard"),
    "wholly": mark("no path is clear"),
}


def kind_words(kind: str) -> str:
    """A kind of a fault in words; one that has none by its name."""
    return translated(KINDS[kind]) if kind in KINDS else kind
