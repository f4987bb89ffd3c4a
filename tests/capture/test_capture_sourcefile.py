"""Source files: read with every fault at its line."""

import pytest

from firing.capture.modbus import ModbusSource
from firing.capture.scpi import ScpiSource
from firing.capture.source_file import parse_source
from firing.capture.source_settings import SourceSettings, make_source
from firing.capture.text_lines import StandardInputSource, TextLineSource
from firing.errors import FiringError
from firing.files.tomlfile import FaultyFile

LINES = """
port = "/dev/ttyUSB0"
baud = 115200
fields = ["kiln", "-", "junction"]
delimiter = ";"
unit = "mV"
thermocouple = "K"
"""
MODBUS = """
kind = "modbus"
port = "/dev/ttyUSB0"
unit_number = 3
parity = "even"
interval = "5s"
[[register]]
name = "kiln"
address = 4096
function = 4
scale = 0.1
[[register]]
name = "top"
address = 4098
type = "float32"
word_order = "low first"
missing = [32767]
"""


def test_lines_scpi_and_registers() -> None:
    lines = parse_source(LINES)
    assert (lines.baud, lines.fields, lines.unit) == (115200, ("kiln", "-", "junction"), "mV")
    assert isinstance(make_source(lines), TextLineSource)
    modbus = parse_source(MODBUS)
    assert modbus.interval_s == 5.0
    assert modbus.registers[0].scale == 0.1
    assert modbus.registers[1].width == 2
    assert isinstance(make_source(modbus), ModbusSource)
    scpi = parse_source('kind = "scpi"\nport = "socket://h:5025"\nquery = "MEAS:TEMP?"')
    assert isinstance(make_source(scpi), ScpiSource)
    assert isinstance(make_source(parse_source('port = "-"')), StandardInputSource)
    assert parse_source('port = "-"\nunit = "mV"\njunction = "77F"').junction_c == 25.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("baud = 9600", "kiln.toml: port: is missing; write port"),
        ('port = "x"\nbaud = 3', ":2: baud: 3 baud must be at least 50"),
        ('port = "x"\nbuad = 9600', ':2: buad: is not a key here; did you mean "baud"'),
        ('port = "x"\nquery = "*RST"', ':2: query: "*RST" is not known'),
        ('port = "x"\nkind = "modbus"', "register: is missing"),
        ('port = "x"\n[[register]]\nname = "a"\naddress = 1', "no meaning for kind"),
        ('port = "x"\ninterval = "0s"', "outside 0.2 s to 10 min"),
        ('port = "x"\njunction = "warm"', "not a temperature"),
        ('port = "x"\nunit = "mV"', "reference junction"),
        ('port = "x"\nthermocouple = "K"', "for readings in mV"),
        ('port = "x"\nfields = ["a,b"]', "cannot name a channel"),
        ('port = "-"\nkind = "scpi"', "cannot be asked"),
        (MODBUS.replace("function = 4", "function = 6"), ":10: register 1 function"),
        (MODBUS.replace("function = 4", "fonction = 4"), 'did you mean "function"?'),
        ('port = "x"\nfields = 7', "7 stands where a list belongs"),
        (MODBUS.replace("address = 4096", "address = 65536"), ":9: register 1 address"),
    ],
)
def test_faults_are_named_at_their_lines(text: str, said: str) -> None:
    with pytest.raises(FaultyFile) as caught:
        parse_source(text, "kiln.toml")
    assert said in str(caught.value)


def test_millivolts_without_a_type_are_refused_when_the_source_is_made() -> None:
    with pytest.raises(FiringError, match="thermocouple"):
        make_source(SourceSettings(port="x", unit="mV", junction_c=25.0))
