"""What a customer is told of each fault: the reason, what the workshop does, what the provider does, what helps.

Short sentences without the trade's words, and without blame: whoever fitted, parked or booked something is not named.
"""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.language import mark


@dataclass(frozen=True)
class Words:
    """The sentences for one fault or one class of faults; empty where there is nothing to say."""

    why: str
    shop: str = ""
    provider: str = ""
    you: str = ""


NOTHING_TO_DO = mark("There is nothing you need to do. We will keep you informed.")
WAIT_OUTDOORS = mark(
    "When the provider sends the signal, please park outdoors with an open view of the sky, with the radio on, for "
    "at least 15 minutes. We will tell you when."
)

FAULTS: dict[str, Words] = {
    "antenna-open": Words(
        mark("The lead to the roof antenna has no contact at some point, so no signal reaches the receiver."),
        mark("We look for this point along the lead and mend it."),
    ),
    "antenna-short": Words(
        mark("The lead to the roof antenna has a short circuit, so the antenna gets no power."),
        mark("We look for the damaged point in the lead or its plugs and mend it."),
    ),
    "antenna-weak": Words(
        mark("The roof antenna passes on too little signal, wherever the vehicle stands."),
        mark("We compare it with an antenna that is known to be good. If that one is better, we change the antenna."),
    ),
    "feed-swapped": Words(
        mark(
            "The receiver is connected to the wrong wire of the antenna lead, so it gets less signal than it should."
        ),
        mark("We move it to the right wire and check again."),
    ),
    "feed-lossy": Words(
        mark("Too much of the signal is lost in the antenna lead or in one of its plugs."),
        mark("We check each plug and change the part that loses the signal."),
    ),
    "supply-dropout": Words(
        mark("The receiver loses its power for moments and then starts again, so the sound stops for a while."),
        mark("We check its fuse, its ground and its plug."),
    ),
    "ring-broken": Words(
        mark(
            "The light cable that joins the parts of the sound system in a ring is open at some point. So the "
            "receiver cannot be heard."
        ),
        mark("We look for this point and close the ring again."),
    ),
    "ring-order": Words(
        mark(
            "The parts of the sound system are joined by a ring of light cables, and their order in it is not right."
        ),
        mark("We put them in the right order and check again."),
    ),
    "node-unpowered": Words(
        mark("The receiver has no power, or it does not answer the other parts of the sound system."),
        mark("We check its power first and then its light cable."),
    ),
    "not-configured": Words(
        mark("The satellite receiver is not yet in the list of equipment that the vehicle keeps."),
        mark("We add the receiver to this list and check again."),
    ),
    "audio-path": Words(
        mark("The programmes reach the receiver, but their sound does not reach the loudspeakers."),
        mark("We check the sound settings and the path to the loudspeakers."),
    ),
    "not-activated": Words(
        mark("The subscription is not active for this receiver yet."),
        mark("We ask the provider for the activation and give them the receiver's number."),
        mark("The provider has to activate the subscription and send the activation signal to your receiver."),
        mark(
            "If the provider asks you to confirm something about the subscription, please do so. Apart from that you "
            "need do nothing until the signal is sent."
        ),
    ),
    "account-lapsed": Words(
        mark("The subscription was active before and is not active now."),
        mark("We ask the provider what is needed, and check the channels again once it is done."),
        mark(
            "If you go on with it, the provider has to make the subscription active again and send the activation "
            "signal to your receiver."
        ),
        mark("If you would like to go on with the subscription, please tell the provider or us."),
    ),
    "id-mismatch": Words(
        mark("The subscription is entered under the number of another receiver."),
        mark("We compare the number on the receiver with the provider's and pass on the right one."),
        mark("The provider has to change the number to that of your receiver and send the activation signal."),
        WAIT_OUTDOORS,
    ),
    "entitlement-not-received": Words(
        mark("The activation signal, which opens the channels, has not reached your receiver yet."),
        mark("We ask the provider to send the signal again, and check the channels afterwards."),
        mark("The provider has to send the activation signal again."),
        WAIT_OUTDOORS,
    ),
    "partial-package": Words(
        mark("The channels that do not play are not part of your package."),
        mark("There is nothing to repair."),
        mark("If you would like to hear these channels too, the provider can add them to your package."),
        mark("You can use the radio as it is."),
    ),
    "indoors": Words(
        mark(
            "The vehicle stands under a roof. The signal comes from satellites in the sky and is stopped by a roof."
        ),
        mark("We check the radio once more outdoors."),
        you=mark("Move the vehicle outdoors, away from roofs, leave the radio on for 15 minutes and try again."),
    ),
    "obstructed": Words(
        mark("Something tall stands between the vehicle and a satellite, so part of the signal does not arrive."),
        mark("We check the radio once more at an open place."),
        you=mark(
            "Park with an open view of the sky, away from tall buildings, leave the radio on for 15 minutes and try "
            "again."
        ),
    ),
    "foliage": Words(
        mark("Trees take away the signal for moments. Under trees this is normal for satellite radio."),
        mark("We compare the radio at a place without trees."),
        you=mark("Where there are no trees over the vehicle, the radio should play without these gaps."),
    ),
    "out-of-coverage": Words(
        mark("At this place the satellites stand too low in the sky, or the service is not offered here."),
        mark("We ask the provider where the service can be received."),
        you=mark("At a place where the service is offered, please try the radio again."),
    ),
    "receiver-defective": Words(
        mark("The receiver itself does not work as it should."),
        mark("We put in another receiver of the same kind and check again."),
    ),
    "feed-absent": Words(
        mark("The receiver does not give the antenna the power that it needs."),
        mark(
            "We measure this power at the receiver. If it is missing, the receiver has to be repaired or exchanged."
        ),
    ),
    "interference": Words(
        mark("A strong transmitter near this place disturbs the reception."),
        mark("We check the radio once more at another place."),
        you=mark("A few hundred metres away the radio should play better. Please try it there."),
    ),
}

CUT_DOWN = Words(
    mark(
        "Some channels that played before are not booked now. The subscription may be about to end, or its package "
        "was changed."
    ),
    mark("We ask the provider what was changed, and check the channels again after that."),
    mark("The provider has to tell us how things stand with the subscription."),
    mark("If this was changed at your own wish, please tell us. Then nothing needs to be done."),
)
"""Of an account that seems to have ended while channels of it still play."""

PLAY_ALL_THE_SAME = mark("Some channels play all the same. They may stop one day.")
FROM_EARLIER = mark(
    "Some channels play all the same, as it seems from an earlier subscription. They may stop one day."
)
PLAYED_FROM_EARLIER = mark("The channels that played before came, as it seems, from an earlier subscription.")
ARRIVED_IN_PART = mark("Not all of the activation signal has reached your receiver yet.")
SUBSCRIPTION_TOO = mark("One reason lies with the subscription.")
"""Of the class of faults, where something else is likely as well: then it is not 'not with the radio'."""

CLASSES: dict[str, Words] = {
    "antenna": Words(
        mark("The reason lies with the roof antenna or the power that it gets."),
        mark("We are still finding out which part it is. Then we mend or change it."),
    ),
    "wiring": Words(
        mark("The reason lies in the wires and plugs of the radio."),
        mark("We are still finding out where it is. Then we mend it."),
    ),
    "configuration": Words(
        mark("The reason lies in the settings of the vehicle."),
        mark("We are still finding out which setting it is. Then we put it right."),
    ),
    "subscription": Words(
        mark("The reason lies with the subscription, not with the radio."),
        mark("We ask the provider to look at the subscription for this receiver."),
        mark("The provider has to check the subscription and send the activation signal to your receiver."),
        WAIT_OUTDOORS,
    ),
    "sky": Words(
        mark("The reason lies with the place where the vehicle stands: something keeps the signal away."),
        mark("We check the radio once more at an open place."),
        you=mark(
            "Park with an open view of the sky, away from roofs, buildings and trees, leave the radio on for 15 "
            "minutes "
            "and try again."
        ),
    ),
    "receiver": Words(
        mark("The reason lies in the receiver itself."),
        mark("We are still finding out what it is. Then the receiver is repaired or exchanged."),
    ),
    "service": Words(
        mark("Something near this place disturbs the reception."),
        mark("We check the radio once more at another place."),
        you=mark("Please try the radio at another place, a few hundred metres away."),
    ),
}

OPENING: dict[str, str] = {
    "works": mark("Your satellite radio works."),
    "broken": mark("Your satellite radio does not play as it should yet."),
    "not-here": mark("Your satellite radio cannot play as it should where the vehicle was checked."),
    "not-paid": mark("Your satellite radio does not play its channels at the moment."),
    "not-paid-in-part": mark("Your satellite radio plays only some of its channels at the moment."),
    "not-sent": mark("Your satellite radio does not play its channels yet."),
    "not-sent-in-part": mark("Your satellite radio plays only some of its channels so far."),
    "not-paid-open": mark(
        "At the moment your satellite radio plays only the channels that do not need a subscription."
    ),
    "not-sent-open": mark("So far your satellite radio plays only the channels that do not need a subscription."),
    "unknown": mark("We cannot say yet whether your satellite radio works as it should."),
}
"""The first sentence by the kind of what was found; 'in-part' where some channels of the subscription play, 'open'
where only such channels do that need none."""

SURENESS: tuple[str, ...] = (
    mark("We are not sure of the reason yet. What follows fits best with what we have seen so far."),
    mark("What follows is likely the reason. It is not proved yet."),
    mark("What follows is very likely the reason. It is not proved yet."),
    mark("We are almost certain of the reason."),
)
"""By `saying.level_of`."""

SECOND: tuple[str, ...] = (
    mark("There may well be another reason, too. We are not sure of it yet."),
    mark("There is likely another reason, too. It is not proved yet."),
    mark("There is very likely another reason, too. It is not proved yet."),
    mark("We are almost certain that there is another reason, too."),
)
"""Before each further reason, by `saying.level_of`."""

AND_THEN = mark("Then we see to the other reason.")
NO_REPAIR_SEEN = mark("As it seems, there is nothing to repair.")

FITS_BEST = mark("What follows fits best with what we have seen; we are still checking it.")
"""Before the reason for which nothing needs repair, where it is less than very likely."""

GARAGE = mark("Never run the engine in a closed garage or hall, not even for a moment: the exhaust gas kills.")
