"""What can hurt people, equipment or the licence: in one place, for every command and page that has to say it."""

from __future__ import annotations

from .radio.supply import CHARGING, FUSE, HEAT

ANTENNAS = (
    "Keep antennas and masts away from power lines, further than they could fall; take them down before a thunderstorm."
)
UNATTENDED = "Do not leave a station transmitting unattended unless your rules allow it. This program never keys it."
LICENCE = "Stay inside your licence: its bands, its powers and the band plans. Listen first, tune on a clear frequency."
EXPOSURE = (
    "These distances hold in the far field of the main direction. Close to an antenna, indoors, near metal or with "
    "several transmitters a closer look is needed, and no distance makes a live antenna safe to touch. Your country's "
    "rules and licensed practice decide."
)

#: by the command that says them
PREFLIGHT = (LICENCE, ANTENNAS, FUSE, CHARGING["LiFePO4"], HEAT, UNATTENDED)
RF = (EXPOSURE, LICENCE)
