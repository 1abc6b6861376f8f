"""What is known of every release of the country file: ADIF's entity codes, and calls whose entity never changes."""

from __future__ import annotations

from watchkeeper.radio import datafile

#: call → ADIF's entity code. The suffixes are not issued: RR Art. 19 keeps QRA-QUZ for the Q code.
KNOWN_CALLS: dict[str, int] = {
    "DL5QRM": 230,
    "G4QRS": 223,
    "F5QRV": 227,
    "I2QRM": 248,
    "EA4QRN": 281,
    "SP5QRP": 269,
    "UR5QRT": 288,
    "R3QRM": 54,
    "R9QRM": 15,
    "W1QSB": 291,
    "KH6QRN": 110,
    "KL7QRM": 6,
    "VE3QRM": 1,
    "XE1QRP": 50,
    "PY2QRZ": 108,
    "LU5QRT": 100,
    "CE3QRN": 112,
    "JA1QRV": 339,
    "BY1QRM": 318,
    "HL2QRM": 137,
    "VU2QRP": 324,
    "VK2QRN": 150,
    "ZL1QRP": 170,
    "ZS6QRP": 462,
    "5Z4QRM": 430,
    "3DA0QR": 468,
}


def entity_codes() -> dict[int, bool]:
    """ADIF 3.1.7's entity codes → whether the entity is deleted. Code 0 stands for no entity."""
    rows = (line.split("\t") for line in datafile.read("entity-codes.txt").splitlines())
    return {int(code): gone == "deleted" for code, gone, _ in rows}
