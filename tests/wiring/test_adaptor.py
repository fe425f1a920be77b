"""Which conductor the receiver sits on: every rule (common practice, no source), and what overrules each."""

import itertools

import pytest

from satdiag.wiring.feed import feed_findings
from tests.helpers import make_job

OPEN = "0:00 place vehicle open-sky\n"
NOMINAL = "[receiver]\nbias_nominal_v = 5.0\n"
CURRENT = "0:30 bias voltage 4.6 V\n0:30 bias current 40 mA\n"


def locks(path, *values, start=60):
    return "".join(f"{start + 20 * nth} lock {path} {value}\n" for nth, value in enumerate(values))


NO_SATELLITE = locks("satellite", "no", "no", "no", "no")
REPEATER = locks("repeater", "yes", "yes", "yes", start=65)
NO_REPEATER = locks("repeater", "no", "no", "no", start=65)


def adaptor(rows, sheet=NOMINAL):
    return feed_findings(make_job(rows, sheet)).adaptor


def reasons(found):
    return " | ".join(reason.text for reason in found.reasons)


def test_without_a_look_at_either_path_nothing_is_said():
    assert adaptor(OPEN + CURRENT) is None


def test_a_satellite_received_is_the_right_conductor():
    found = adaptor(OPEN + CURRENT + locks("satellite:east", "yes", "yes", "no", "yes", "yes", "yes"))
    assert (found.conclusion, found.satellite, found.repeater) == ("fits", "received", None)


def test_of_several_satellites_the_best_one_counts():
    rows = locks("satellite:east", "yes", "yes", "yes") + locks("satellite:west", "no", "no", "no", start=65)
    assert adaptor(OPEN + rows).satellite == "received"


def test_satellite_nothing_and_a_repeater_near_is_the_terrestrial_conductor():
    found = adaptor(OPEN + CURRENT + NO_SATELLITE + REPEATER)
    assert found.conclusion == "wrong-conductor"
    assert "terrestrial conductor" in found.text
    assert [reason.rows for reason in found.reasons if "repeater" in reason.text] == [("row 8", "row 9", "row 10")]


def test_on_a_dual_lead_without_adaptor_the_two_may_be_exchanged():
    sheet = NOMINAL + 'antenna_lead = "dual"\nadaptor = "none"\n'
    assert "exchanged" in adaptor(OPEN + NO_SATELLITE + REPEATER, sheet).text
    assert "exchanged" not in adaptor(OPEN + NO_SATELLITE + REPEATER).text


def test_both_nothing_with_a_plausible_current_may_be_another_services_lead():
    found = adaptor(OPEN + CURRENT + NO_SATELLITE + NO_REPEATER)
    assert found.conclusion == "other-service"
    assert "another service's antenna" in found.text
    assert "the receiver's input is dead" in found.also_possible


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        (OPEN.replace("open-sky", "indoors"), "hidden from view"),
        (OPEN.replace("open-sky", "street"), "hidden from view"),
        ("", "hidden from view"),
    ],
)
def test_only_an_open_sky_says_something_of_the_lead(changed, why):
    for rows in (NO_REPEATER, REPEATER):
        found = adaptor(changed + CURRENT + NO_SATELLITE + rows)
        assert found.conclusion == "cannot-tell"
        assert why in found.text


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ("5:00 swap antenna same\n" + locks("satellite", *["no"] * 3, start=400), "changed nothing"),
        ("5:00 swap receiver better\n" + locks("satellite", *["no"] * 3, start=400), "Another receiver works"),
        ("2:00 bias current 0 mA\n2:00 bias voltage 5 V\n2:10 bias current 0 mA\n", "The feed itself is at fault"),
    ],
)
def test_what_speaks_against_the_lead_overrules(more, why):
    found = adaptor(OPEN + CURRENT + NO_SATELLITE + NO_REPEATER + more)
    assert found.conclusion == "cannot-tell"
    assert why in found.text


def test_without_a_current_two_silent_paths_say_nothing():
    found = adaptor(OPEN + NO_SATELLITE + NO_REPEATER)
    assert found.conclusion == "cannot-tell"
    assert "without a current" in found.text


def test_a_lead_that_carried_something_is_no_other_services():
    early = locks("satellite", "yes", "yes", "yes", start=10)
    late = locks("satellite", "no", "no", "no", start=2400) + locks("repeater", "no", "no", "no", start=2405)
    found = adaptor(OPEN + CURRENT.replace("0:30", "40:00") + early + late)
    assert (found.conclusion, found.satellite) == ("cannot-tell", "nothing")
    assert "received through this lead earlier" in found.text


def test_a_lead_that_worked_before_the_complaint_is_not_blamed_first():
    found = adaptor(OPEN + CURRENT + NO_SATELLITE + NO_REPEATER, 'reason = "complaint"\n' + NOMINAL)
    assert found.conclusion == "cannot-tell"
    assert "worked before the complaint" in found.text


def test_a_repeater_that_was_not_looked_at_leaves_it_open():
    found = adaptor(OPEN + CURRENT + NO_SATELLITE)
    assert found.conclusion == "cannot-tell"
    assert "the terrestrial conductor, with no repeater in reach" in found.also_possible


def switching(on_db):
    levels = [on_db, 40, on_db, 40, on_db, 40]
    rows = "".join(
        f"{300 + 20 * nth} feed bias {'off' if nth % 2 else 'on'}\n{305 + 20 * nth} noise receiver {level} dB\n"
        for nth, level in enumerate(levels)
    )
    return rows + "7:00 feed bias on\n"


def test_no_noise_rise_means_that_nothing_arrives():
    found = adaptor(OPEN + CURRENT + NO_SATELLITE + NO_REPEATER + switching(40.1))
    assert found.conclusion == "cannot-tell"
    assert "noise does not rise" in found.text


def test_a_noise_rise_as_expected_leaves_the_amplifier_out_of_it():
    found = adaptor(OPEN + CURRENT + NO_SATELLITE + NO_REPEATER + switching(53))
    assert found.conclusion == "other-service"
    assert found.also_possible == ("the terrestrial conductor, with no repeater in reach",)


def test_one_row_without_a_lock_is_a_moments_shadow():
    assert adaptor(OPEN + CURRENT + locks("satellite", "no", "no") + REPEATER).conclusion == "cannot-tell"


def test_levels_tell_where_the_reading_for_no_signal_is_known():
    rows = "".join(
        f"{60 + 10 * nth} signal satellite 0 bars/5\n{61 + 10 * nth} signal repeater 4 bars/5\n" for nth in range(4)
    )
    assert adaptor(OPEN + CURRENT + rows).conclusion == "wrong-conductor"
    in_db = rows.replace("bars/5", "dB")
    assert adaptor(OPEN + CURRENT + in_db) is None
    assert adaptor(OPEN + CURRENT + in_db, NOMINAL + "level_floor = 0.5\n").conclusion == "wrong-conductor"


# --- combiner and feed -------------------------------------------------------------------------------------------

APART = "0:10 bias current:satellite 42 mA\n0:12 bias current:repeater 25 mA\n"
COMBINER = NOMINAL + 'adaptor = "combiner"\nantenna_lead = "dual"\n'


@pytest.mark.parametrize(
    ("milliamps", "what"),
    [
        (66, "what both amplifiers draw together"),
        (52, "between one amplifier and both"),
        (42, "to one port only"),
        (26, "to one port only"),
        (9, "hardly any feed passes"),
        (95, "something else is fed too"),
    ],
)
def test_current_through_a_combiner(milliamps, what):
    rows = OPEN + APART + f"1:00 bias voltage 4.4 V\n1:00 bias current {milliamps} mA\n" + REPEATER
    assert what in reasons(adaptor(rows, COMBINER))


@pytest.mark.parametrize(
    ("milliamps", "heard", "why"),
    [
        (42, NO_REPEATER, "to one amplifier only"),
        (42, REPEATER, "to one amplifier only"),
        (9, NO_REPEATER, "hardly any feed"),
        (66, NO_REPEATER, "passes no radio signals"),
        (52, NO_REPEATER, "passes no radio signals"),
    ],
)
def test_a_combiner_at_fault_comes_before_the_lead(milliamps, heard, why):
    rows = OPEN + APART + f"1:00 bias voltage 4.4 V\n1:00 bias current {milliamps} mA\n" + NO_SATELLITE + heard
    found = adaptor(rows, COMBINER)
    assert found.conclusion == "cannot-tell"
    assert why in found.text
    assert "combiner" in found.text


def test_two_amplifiers_behind_a_combiner_do_not_clear_the_terrestrial_conductor():
    rows = OPEN + APART + "1:00 bias voltage 4.4 V\n1:00 bias current 66 mA\n" + NO_SATELLITE + REPEATER
    assert adaptor(rows, COMBINER).conclusion == "wrong-conductor"


@pytest.mark.parametrize(
    ("swap", "left_out", "kept"),
    [
        ("lead better", ("input is dead", "amplifier is dead", "open to radio"), "another service"),
        ("lead same", ("open to radio",), "input is dead"),
        ("antenna better", ("input is dead",), "amplifier is dead"),
        ("receiver same", ("input is dead",), "amplifier is dead"),
    ],
)
@pytest.mark.parametrize("reason", ["just-installed", "complaint"])
def test_known_good_parts_rule_out_what_they_replaced(swap, left_out, kept, reason):
    late = locks("satellite", *["no"] * 3, start=400) + locks("repeater", *["no"] * 3, start=405)
    rows = OPEN + f"4:00 swap {swap}\n" + CURRENT.replace("0:30", "5:00") + late
    found = adaptor(rows, f'reason = "{reason}"\n' + NOMINAL)
    said = " | ".join((found.text, *found.also_possible))
    assert not [part for part in left_out if part in said]
    assert kept in said


def test_a_short_through_the_combiner():
    rows = OPEN + "1:00 bias voltage 0.3 V\n1:00 bias current 250 mA\n" + REPEATER
    assert "passes direct current to a grounded port" in reasons(adaptor(rows, COMBINER))


def test_a_combiner_whose_amplifiers_are_not_known_asks_to_measure_them():
    rows = OPEN + "1:00 bias voltage 4.4 V\n1:00 bias current 60 mA\n" + REPEATER
    assert "measure each conductor by itself" in reasons(adaptor(rows, COMBINER))


def test_a_feed_on_one_conductor_only():
    rows = "0:10 bias voltage:satellite 0 V\n0:10 bias current:satellite 0 mA\n"
    rows += "0:12 bias voltage:repeater 4.7 V\n0:12 bias current:repeater 25 mA\n"
    found = adaptor(OPEN + rows + REPEATER + NO_SATELLITE, NOMINAL + 'antenna_lead = "dual"\n')
    assert "the satellite amplifier is dark" in reasons(found)
    assert found.conclusion == "cannot-tell"


def test_a_combiner_on_a_single_lead_is_a_contradiction():
    sheet = NOMINAL + 'adaptor = "combiner"\nantenna_lead = "single"\n'
    assert "one of the two is not right" in reasons(adaptor(OPEN + REPEATER, sheet))


def test_every_combination_has_a_sentence():
    places = ("", OPEN, OPEN.replace("open-sky", "indoors"))
    currents = ("", CURRENT, CURRENT.replace("40 mA", "0 mA").replace("4.6 V", "5 V"))
    satellites = (NO_SATELLITE, locks("satellite", "yes", "yes", "yes"), locks("satellite", "yes", "no", "no", "yes"))
    repeaters = ("", REPEATER, NO_REPEATER)
    kinds = itertools.cycle(("none", "combiner", "satellite-only", "unknown"))
    for parts in itertools.product(places, currents, satellites, repeaters):
        found = feed_findings(make_job("".join(parts), NOMINAL + f'adaptor = "{next(kinds)}"\n')).adaptor
        assert found.text.endswith(".")
        assert found.reasons
        assert all(reason.text[0].isupper() or reason.text[0].isdigit() for reason in found.reasons)


def test_a_connector_is_never_looked_at():
    """Notes on its colour change nothing."""
    rows = OPEN + CURRENT + NO_SATELLITE + REPEATER
    assert adaptor(rows).conclusion == adaptor(rows + "9:00 note connector curry").conclusion
    assert adaptor(rows).text == adaptor(rows + "9:00 note connector blue").text
