"""`satdiag ports`: what is printed of the ports there are, and of none."""

import json

from click.testing import CliRunner
from serial.tools.list_ports_common import ListPortInfo

from satdiag.cli.ports_cmd import ports
from satdiag.recorder import port as port_module


def adapter():
    """A USB adapter as pyserial describes it; its numbers are test numbers of pid.codes, from memory."""
    info = ListPortInfo("/dev/ttyUSB1")
    info.vid, info.pid, info.serial_number = 0x1209, 0x0001, "DEMO1"
    info.manufacturer, info.product, info.interface = "Demo works \x1b[31m", "Demo adapter", "Port A"
    info.apply_usb_info()
    return info


def printed(monkeypatch, infos, *words):
    """What the command prints if the system has these ports."""
    monkeypatch.setattr(port_module, "comports", lambda: infos)
    result = CliRunner().invoke(ports, list(words))
    assert result.exit_code == 0, result.output
    return result.output


def test_ports_are_listed_in_natural_order_with_what_is_known(monkeypatch):
    text = printed(monkeypatch, [ListPortInfo("/dev/ttyUSB10"), adapter()])
    assert text.splitlines() == [
        "/dev/ttyUSB1",
        "    what: Demo adapter - Port A",
        r"    maker: Demo works \x1b[31m",
        "    product: Demo adapter",
        "    USB id: 1209:0001",
        "    serial number: DEMO1",
        "/dev/ttyUSB10",
        "    the system says nothing of it",
    ]


def test_json_has_null_for_what_is_not_known(monkeypatch):
    found = json.loads(printed(monkeypatch, [ListPortInfo("COM4"), adapter()], "--json"))
    assert found[0]["device"] == "/dev/ttyUSB1"
    assert found[1] == {
        "device": "COM4",
        "description": None,
        "maker": None,
        "product": None,
        "usb_id": None,
        "serial_number": None,
    }
    assert found[0]["usb_id"] == "1209:0001"
    assert found[0]["maker"] == "Demo works \x1b[31m"


def test_none_is_said_plainly_with_what_it_may_mean(monkeypatch):
    text = printed(monkeypatch, [])
    assert text.startswith("This computer shows no serial port.")
    assert "no driver" in text
    assert json.loads(printed(monkeypatch, [], "--json")) == []


def test_the_ports_of_this_computer_are_listed():
    from serial.tools.list_ports import comports

    result = CliRunner().invoke(ports, ["--json"])
    assert [one["device"] for one in json.loads(result.output)] == [info.device for info in sorted(comports())]
