"""What each fault is called in a sentence."""

from __future__ import annotations

TITLES = {
    "antenna-open": "the antenna's feed is open: no DC path to its amplifier",
    "antenna-short": "the antenna's feed is shorted",
    "antenna-weak": "the antenna or its amplifier is too weak",
    "feed-swapped": "the receiver sits on the wrong antenna conductor",
    "feed-lossy": "the antenna lead or a connector loses too much signal",
    "supply-dropout": "the receiver's supply drops out and it restarts",
    "ring-broken": "the optical ring is open",
    "ring-order": "the optical ring's nodes are in the wrong places",
    "node-unpowered": "the receiver does not answer on a working ring",
    "not-configured": "the vehicle's stored equipment does not hold the receiver",
    "audio-path": "the programme is received but the vehicle does not play it",
    "not-activated": "the account was never activated, or was refused",
    "account-lapsed": "the account was active and is no longer",
    "id-mismatch": "the account is for another receiver's identifier",
    "entitlement-not-received": "the account is confirmed, but its message has not reached the receiver",
    "partial-package": "the channels that do not play are not in the package",
    "indoors": "a roof over the vehicle blocks the signal",
    "obstructed": "something stands in the way to a satellite",
    "foliage": "trees take the signal for moments",
    "out-of-coverage": "the satellites are too low here, or the service is not offered",
    "receiver-defective": "the receiver itself has failed",
    "feed-absent": "the receiver does not feed the antenna",
    "interference": "a strong emission at this place disturbs the reception",
    "none": "nothing is wrong",
    "other": "something that is not in the list of known faults",
}
