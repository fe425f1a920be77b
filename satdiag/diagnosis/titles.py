"""What each fault is called in a sentence. Whoever says one calls `translated` on it, in the language in use."""

from __future__ import annotations

from satdiag.language import mark

TITLES = {
    "antenna-open": mark("the antenna's feed is open, without a DC path to its amplifier"),
    "antenna-short": mark("the antenna's feed is shorted"),
    "antenna-weak": mark("the antenna or its amplifier is too weak"),
    "feed-swapped": mark("the receiver sits on the wrong antenna conductor"),
    "feed-lossy": mark("the antenna lead or a connector loses too much signal"),
    "supply-dropout": mark("the receiver's supply drops out and it restarts"),
    "ring-broken": mark("the optical ring is open"),
    "ring-order": mark("the optical ring's nodes are in the wrong places"),
    "node-unpowered": mark("the receiver does not answer on a working ring"),
    "not-configured": mark("the vehicle's stored equipment does not hold the receiver"),
    "audio-path": mark("the programme is received but the vehicle does not play it"),
    "not-activated": mark("the account was never activated, or was refused"),
    "account-lapsed": mark("the account was active and is no longer"),
    "id-mismatch": mark("the account is for another receiver's identifier"),
    "entitlement-not-received": mark("the account is confirmed, but its message has not reached the receiver"),
    "partial-package": mark("the channels that do not play are not in the package"),
    "indoors": mark("a roof over the vehicle blocks the signal"),
    "obstructed": mark("something stands in the way to a satellite"),
    "foliage": mark("trees take the signal for moments"),
    "out-of-coverage": mark("the satellites are too low here, or the service is not offered"),
    "receiver-defective": mark("the receiver itself has failed"),
    "feed-absent": mark("the receiver does not feed the antenna"),
    "interference": mark("a strong emission at this place disturbs the reception"),
    "none": mark("nothing is wrong"),
    "other": mark("something that is not in the list of known faults"),
}

CUT_DOWN = mark("the account is ending, or its package was cut down")
"""What `account-lapsed` is called while some of the channels still play."""

CLASS_WORDS = {
    "antenna": mark("the antenna is the cause"),
    "wiring": mark("the wiring is the cause"),
    "configuration": mark("the vehicle's configuration is the cause"),
    "subscription": mark("the account with the provider is the cause"),
    "sky": mark("the view of the sky is the cause"),
    "receiver": mark("the receiver is the cause"),
    "service": mark("a disturbance at this place is the cause"),
}
"""What each class of faults is called as the cause."""
